"""Send one message to a webhook.

The connection goes to a checked address, no redirect is followed, and of the answer only the status and
Retry-After count. The whole exchange ends after `WHOLE_S`, whatever the receiver does.
"""

import http.client
import socket
import ssl
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, datetime, timedelta
from email.utils import parsedate_to_datetime
from functools import cache

import certifi
from django.conf import settings

from registry.alerts.delivery.keys import webhook_keys
from registry.alerts.delivery.outcomes import NotDelivered
from registry.alerts.delivery.reaching import Target, addresses, target_of
from registry.alerts.delivery.signatures import sign
from registry.errors import Invalid
from registry.models import Delivery, Subscription

CONNECT_S = 5.0
WHOLE_S = 20.0
_MOST_ADDRESSES = 3
_TROUBLE = (OSError, http.client.HTTPException)


def send(subscription: Subscription, delivery: Delivery, now: datetime) -> None:
    """Send one delivery, signed as of `now`. Raises NotDelivered for any answer but 2xx, or none."""
    try:
        target = target_of(subscription.to)
    except Invalid as error:  # the settings have become stricter since
        raise NotDelivered(error.detail) from None
    body = delivery.payload.encode()
    headers = {
        "Content-Type": "application/json",
        "User-Agent": f"Vacuary/{settings.VERSION}",
        "Connection": "close",
        **sign(webhook_keys(subscription, now), delivery.name.hex, int(now.timestamp()), body),
    }
    with _connected(target) as connection:
        try:
            connection.request("POST", target.path, body, headers)
            with connection.getresponse() as response:  # its body is never read
                status, retry_after = response.status, response.getheader("Retry-After")
        except _TROUBLE as error:
            raise NotDelivered(_reason(error)) from None
    _judge(status, retry_after)


def _judge(status: int, retry_after: str | None) -> None:
    """Raises NotDelivered unless the status says that the message was taken."""
    if 200 <= status < 300:
        return
    why = f"the receiver answered {status}"
    if 300 <= status < 400:
        why += "; redirects are not followed"
    raise NotDelivered(why, asked=_asked(retry_after), is_gone=status == 410, answers=True)


@contextmanager
def _connected(target: Target) -> Iterator[http.client.HTTPConnection]:
    """A connection to one of the target's addresses that is cut when the time for all of it is over."""
    connection = http.client.HTTPConnection(target.host, target.port)
    connection.default_port = 443 if target.scheme == "https" else 80  # for the header Host
    connection.sock = _socket(target)
    cut = threading.Timer(WHOLE_S, _cut, [connection])
    cut.daemon = True
    cut.start()
    try:
        if target.scheme == "https":
            _begin_tls(connection, target.host)
        yield connection
    finally:
        cut.cancel()
        connection.close()


def _socket(target: Target) -> socket.socket:
    trouble: OSError | None = None
    for number in addresses(target)[:_MOST_ADDRESSES]:
        try:
            made = socket.create_connection((number, target.port), timeout=CONNECT_S)
        except OSError as error:
            trouble = error
        else:
            made.settimeout(WHOLE_S)
            return made
    raise NotDelivered(_reason(trouble or OSError()))


def _begin_tls(connection: http.client.HTTPConnection, host: str) -> None:
    # Wrapping takes the socket out of the old object, so the handshake comes after: then it can be cut too.
    wrapped = _trust().wrap_socket(connection.sock, server_hostname=host, do_handshake_on_connect=False)
    connection.sock = wrapped
    try:
        wrapped.do_handshake()
    except _TROUBLE as error:
        raise NotDelivered(_reason(error)) from None


@cache
def _trust() -> ssl.SSLContext:
    """Certificates are checked against the system's roots and, where it has none, against those we bring."""
    context = ssl.create_default_context()
    context.load_verify_locations(certifi.where())
    return context


def _cut(connection: http.client.HTTPConnection) -> None:
    """End the exchange under the other thread's hands; TLS's own shutdown would wait for the receiver."""
    with suppress(OSError):  # it may have ended by itself
        socket.socket.shutdown(connection.sock, socket.SHUT_RDWR)


def _reason(error: Exception) -> str:
    """Why it failed, in plain words: library texts may quote what a receiver sent."""
    if isinstance(error, ssl.SSLError):
        return "the receiver's certificate is not trusted, or TLS failed"
    if isinstance(error, TimeoutError):
        return "the receiver did not answer in time"
    if isinstance(error, ConnectionRefusedError):
        return "nothing listens at that address"
    if isinstance(error, http.client.HTTPException):
        return "the receiver's answer is not one of HTTP, or was cut off"
    return "the connection could not be made or was cut"


def _asked(header: str | None) -> timedelta | None:
    """What a Retry-After header asks for: seconds or a date (RFC 9110, 10.2.3); None when unusable."""
    text = (header or "").strip()
    if text.isascii() and text.isdigit() and len(text) < 8:
        return timedelta(seconds=int(text))
    try:
        when = parsedate_to_datetime(text)
    except ValueError:
        return None
    when = when if when.tzinfo else when.replace(tzinfo=UTC)
    return max(when - datetime.now(UTC), timedelta(0))
