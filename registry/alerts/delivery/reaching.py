"""Which addresses a webhook may go to: none inside the network this server stands in.

A name is looked up each time something is sent, all it leads to is checked, and the connection goes to the
very address that was checked, so a name that leads elsewhere a moment later gains nothing.
"""

import ipaddress
import socket
from dataclasses import dataclass
from urllib.parse import urlsplit

from django.conf import settings

from registry.alerts.delivery.outcomes import NotDelivered
from registry.errors import Fault, Invalid

Address = ipaddress.IPv4Address | ipaddress.IPv6Address
_NAT64 = ipaddress.ip_network("64:ff9b::/96")
_COMPATIBLE = ipaddress.ip_network("::/96")  # IPv4 in the last 32 bits, long given up (RFC 4291)
_LEAST_PORT = 1024


@dataclass(frozen=True)
class Target:
    """Where a webhook goes: scheme, host, port, and the path with its query."""

    scheme: str
    host: str
    port: int
    path: str

    @property
    def is_listed(self) -> bool:
        """Whether the keeper of this server allows the host although it may lie inside."""
        return self.host in settings.VACUARY_WEBHOOK_HOSTS


def target_of(url: str) -> Target:
    """Take a webhook's address apart. Raises Invalid on the field `to` for what can be no receiver."""
    try:
        parts = urlsplit(url)
        port = parts.port or {"https": 443, "http": 80}.get(parts.scheme, 0)
        host = (parts.hostname or "").encode("idna").decode("ascii")
    except (ValueError, UnicodeError):
        raise _refused("is no address of the web") from None
    path = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
    target = Target(parts.scheme, host, port, path)
    if not url.isascii() or not url.isprintable() or " " in url:
        raise _refused("must be written in ASCII, without blanks")
    if not host or parts.username is not None or parts.fragment or "\\" in url:
        raise _refused("must name a host, without a user or a fragment")
    if target.scheme != "https" and not (target.scheme == "http" and target.is_listed):
        raise _refused("must begin with https://")
    if port < _LEAST_PORT and port not in (80, 443):
        raise _refused(f"must use port 443, or one from {_LEAST_PORT} up")
    if not target.is_listed and not _may_be_public(host):
        raise _refused("must be an address on the public internet")
    return target


def addresses(target: Target) -> list[str]:
    """Look the host up and return its addresses, all of them allowed. Raises NotDelivered."""
    try:
        found = socket.getaddrinfo(target.host, target.port, type=socket.SOCK_STREAM)
    except (OSError, UnicodeError):
        raise NotDelivered("the name of the host is not known") from None
    numbers = list(dict.fromkeys(str(entry[4][0]) for entry in found))
    for number in numbers:
        address = ipaddress.ip_address(number.partition("%")[0])
        allowed = is_public(address) or (target.is_listed and _may_be_listed(target, address))
        if not allowed:
            raise NotDelivered("the host leads to an address that webhooks may not go to")
    return numbers


def is_public(address: Address) -> bool:
    """Whether an address belongs to the public internet, seen through all forms that wrap another one."""
    if isinstance(address, ipaddress.IPv6Address):
        inner = _wrapped(address)
        if inner is not None:
            return is_public(inner)
    return address.is_global and not address.is_multicast and not address.is_reserved


def _wrapped(address: ipaddress.IPv6Address) -> ipaddress.IPv4Address | None:
    """The IPv4 address inside an IPv6 one: mapped, 6to4, NAT64 or Teredo."""
    if address in _NAT64 or address in _COMPATIBLE:
        return ipaddress.IPv4Address(int(address) & 0xFFFFFFFF)
    if address.teredo is not None:
        return address.teredo[1]
    return address.ipv4_mapped or address.sixtofour


def _may_be_listed(target: Target, address: Address) -> bool:
    """A listed host may lie inside; without TLS it must be this very machine."""
    return target.scheme == "https" or address.is_loopback


def _may_be_public(host: str) -> bool:
    """A first look at what was written, so that a mistake is told at once; names are looked up later."""
    try:
        return is_public(ipaddress.ip_address(host))
    except ValueError:
        return "." in host.strip(".") and not host.endswith((".localhost", ".local", ".internal"))


def _refused(why: str) -> Invalid:
    return Invalid(
        f"to: {why}",
        hint="Give the https address of a receiver on the public internet.",
        faults=(Fault(why, field="to"),),
    )
