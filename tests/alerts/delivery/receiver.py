"""A receiver of webhooks on the loopback, and what it got."""

import ssl
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any


@dataclass
class Got:
    """One message as it arrived."""

    path: str
    headers: dict[str, str]
    body: bytes


@dataclass
class Receiver:
    """Answers with the statuses in turn, then with 204; by https with `tls`. `port` is 0 until it listens."""

    statuses: list[int] = field(default_factory=list)
    answer_headers: dict[str, str] = field(default_factory=dict)
    got: list[Got] = field(default_factory=list)
    port: int = 0
    tls: ssl.SSLContext | None = None
    hold: threading.Event | None = None
    holding: threading.Event = field(default_factory=threading.Event)

    @contextmanager
    def up(self) -> Iterator["Receiver"]:
        """Listen, on the port of before if there was one."""
        server = _Server(("127.0.0.1", self.port), _Handler, self)
        self.port = server.server_address[1]
        thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01})
        thread.start()
        try:
            yield self
        finally:
            server.shutdown()
            thread.join()
            server.server_close()

    @property
    def url(self) -> str:
        return f"http{'s' if self.tls else ''}://127.0.0.1:{self.port}/alerts?from=vacuary"

    @property
    def ids(self) -> list[str]:
        return [one.headers["webhook-id"] for one in self.got]


class _Server(ThreadingHTTPServer):
    daemon_threads = True
    allow_reuse_address = True

    def __init__(self, address: tuple[str, int], handler: Any, receiver: Receiver) -> None:
        super().__init__(address, handler)
        self.receiver = receiver

    def get_request(self) -> Any:
        """Accept one; hands are shaken in its own thread, so that nobody waits for who does not."""
        accepted, address = super().get_request()
        if self.receiver.tls is not None:
            accepted = self.receiver.tls.wrap_socket(
                accepted, server_side=True, do_handshake_on_connect=False
            )
        return accepted, address

    def handle_error(self, request: Any, client_address: Any) -> None:
        """Who does not trust the certificate hangs up, which is what some tests are about."""
        if not isinstance(sys.exception(), ssl.SSLError):
            super().handle_error(request, client_address)


class _Handler(BaseHTTPRequestHandler):
    server: _Server

    def do_POST(self) -> None:
        receiver = self.server.receiver
        body = self.rfile.read(int(self.headers["Content-Length"]))
        headers = {key.lower(): value for key, value in self.headers.items()}
        if receiver.hold is not None:
            receiver.holding.set()
            receiver.hold.wait(20)
        status = receiver.statuses.pop(0) if receiver.statuses else 204
        if status < 300:
            receiver.got.append(Got(self.path, headers, body))
        self.send_response(status)
        for key, value in receiver.answer_headers.items():
            self.send_header(key, value)
        self.send_header("Content-Length", "0")
        self.end_headers()

    def log_message(self, format: str, *args: Any) -> None:  # noqa: A002 - the base class calls it so
        pass
