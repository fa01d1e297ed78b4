"""The server's address: taking it, and finding out whether the server really answers there."""

import errno
import http.client
import json
import os
import socket
import time

from django.conf import settings

HEALTH = "/api/v1/health"
_BACKLOG = 2048
_PAUSE_S = 0.1


class AddressError(Exception):
    """The address cannot be had; the message says why and what to do."""


def take_address(host: str, port: int, wait_s: float) -> socket.socket:
    """Return a socket that listens on `host` and `port` (0: any free one).

    A server that was killed on this port a moment ago may still be ending, hence the wait.
    Raises AddressError.
    """
    deadline = time.monotonic() + wait_s
    while True:
        try:
            family, *_, address = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0]
            return socket.create_server(address[:2], family=family, backlog=_BACKLOG)
        except OSError as failure:
            if failure.errno != errno.EADDRINUSE or time.monotonic() > deadline:
                raise AddressError(_reason(host, port, failure)) from failure
        time.sleep(_PAUSE_S)


def address_of(listener: socket.socket) -> str:
    """Return the address of a listening socket as a browser takes it."""
    host, port = listener.getsockname()[:2]
    return f"http://[{host}]:{port}" if ":" in host else f"http://{host}:{port}"


def answers(listener: socket.socket) -> bool:
    """Tell whether the server behind a listening socket says that it is well."""
    host, port = listener.getsockname()[:2]
    reachable = {"0.0.0.0": "127.0.0.1", "::": "::1"}.get(host, host)  # noqa: S104 (compared, not bound)
    connection = http.client.HTTPConnection(reachable, port, timeout=5)
    try:
        connection.request("GET", HEALTH, headers={"Host": _own_name(), "Accept": "application/json"})
        response = connection.getresponse()
        return response.status == http.client.OK and json.load(response).get("status") == "ok"
    except (OSError, http.client.HTTPException, ValueError):
        return False
    finally:
        connection.close()


def _own_name() -> str:
    """Return a host name that this server answers to."""
    name = next(iter(settings.ALLOWED_HOSTS), "localhost").strip()
    return "localhost" if name == "*" else name.removeprefix(".")


def _reason(host: str, port: int, failure: OSError) -> str:
    if failure.errno == errno.EADDRINUSE:
        return f"Port {port} on {host} is taken by another program. Stop it, or choose another with --port."
    if failure.errno == errno.EACCES:
        return f"This user may not use port {port}. Choose one above 1023 with --port."
    said = os.strerror(failure.errno) if failure.errno and failure.errno > 0 else str(failure)
    return f"The server cannot listen on {host}, port {port}: {said}."
