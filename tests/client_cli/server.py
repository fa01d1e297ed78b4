"""A small server on the loopback that plays the registry's contract, and its outages."""

import email
import email.policy
import hashlib
import json
import socket
import sys
import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import parse_qs, quote, urlsplit

# Status and document; for a file its bytes, and its headers as a third.
Reply = tuple[int, Any] | tuple[int, bytes, dict[str, str]]
TOKEN = "a-token-of-the-tests"


@dataclass
class Asked:
    """One request as it arrived."""

    method: str
    path: str
    query: dict[str, str]
    headers: dict[str, str]
    body: bytes
    connection: int

    @property
    def json(self) -> Any:
        return json.loads(self.body)

    @property
    def form(self) -> dict[str, bytes]:
        """The parts of a multipart body by their names."""
        message = email.message_from_bytes(
            b"Content-Type: " + self.headers["content-type"].encode() + b"\r\n\r\n" + self.body,
            policy=email.policy.HTTP,
        )
        return {
            part.get_param("name", header="content-disposition"): part.get_payload(decode=True)
            for part in message.iter_parts()
        }


@dataclass
class Trouble:
    """What goes wrong with one request: another answer, or a connection that is cut.

    `cut` is "before" (nothing is done), "after" (it is done and the answer never leaves) or "midway" (half of
    the answer leaves).
    """

    status: int | None = None
    headers: dict[str, str] = field(default_factory=dict)
    body: bytes = b""
    cut: str | None = None


def problem(status: int, code: str, detail: str = "", hint: str = "", **more: Any) -> Reply:
    """A problem document as the registry sends it."""
    return status, {
        "type": f"urn:vacuary:problem:{code}",
        "title": code.replace("_", " "),
        "status": status,
        "code": code,
        "detail": detail or code.replace("_", " "),
        "hint": hint,
        "errors": [],
        "request_id": "abc123",
        **more,
    }


class Registry:
    """The server's side of the contract, kept in memory."""

    def __init__(self) -> None:
        self.asked: list[Asked] = []
        self.troubles: list[Trouble] = []
        self.runs: dict[str, dict[str, Any]] = {}
        self.clients = ">=0.1,<1"
        self.answers: dict[tuple[str, str], Reply | Callable[[Asked], Reply]] = {
            ("GET", "health"): (200, {"status": "ok", "version": "0.1.0", "clients": ">=0.1,<1"}),
            ("POST", "runs"): self._take_run,
            ("POST", "measure"): (200, measured()),
            ("GET", "runs"): self._list_runs,
        }
        self.on_request: Callable[[Asked], None] | None = None

    def reply(self, asked: Asked) -> Reply:
        shown = asked.headers.get("authorization")
        if shown not in (None, f"Token {TOKEN}") and asked.path != "health":
            return problem(401, "not_signed_in", "The token is not known.", "Ask for a new token.")
        answer = self.answers.get((asked.method, asked.path))
        if answer is None:
            return problem(404, "not_found", "There is nothing at this address.")
        return answer(asked) if callable(answer) else answer

    def _take_run(self, asked: Asked) -> Reply:
        if "authorization" not in asked.headers:
            return problem(401, "not_signed_in", "This needs a token.")
        trace, provenance = asked.form["trace"], asked.form["provenance"]
        if trace.startswith(b"bad"):
            return problem(
                422,
                "unreadable_trace",
                "The trace cannot be read.",
                "Export it again as text.",
                errors=[{"line": 7, "message": "no number in the vacuum column"}],
            )
        if trace.startswith(b"broken"):
            return problem(500, "fault", "The server failed over this trace.")
        identity = hashlib.sha256(trace + b"\0" + provenance).hexdigest()
        known = identity in self.runs
        if not known:
            state = "held" if trace.startswith(b"held") else "accepted"
            said = json.loads(provenance)
            self.runs[identity] = {
                "id": len(self.runs) + 1,
                "digest": hashlib.sha256(trace).hexdigest(),
                **{key: said.get(key) for key in ("pump_model", "serial", "mode", "gauge")},
                "level": str(said.get("level")).lower(),
                "side": said.get("side", "single"),
                **measured(state),
            }
        return (200 if known else 201), self.runs[identity]

    def _list_runs(self, asked: Asked) -> Reply:
        """The runs that fit the filters, newest first, in pages that a cursor continues."""
        runs = sorted(self.runs.values(), key=lambda run: -run["id"])
        for name, key in (("model", "pump_model"), ("serial", "serial"), ("gauge", "gauge")):
            runs = [run for run in runs if asked.query.get(name) in (None, run[key])]
        start, size = int(asked.query.get("cursor", 0)), int(asked.query["page_size"])
        filters = "".join(f"&{key}={quote(asked.query[key])}" for key in asked.query if key != "cursor")
        following = f"http://elsewhere/api/v1/runs?cursor={start + size}{filters}"
        page = runs[start : start + size]
        return 200, {"results": page, "next": following if start + size < len(runs) else None}

    def count(self, method: str, path: str) -> int:
        """How many such requests arrived."""
        return sum(1 for asked in self.asked if (asked.method, asked.path) == (method, path))


def both_sides() -> dict[str, Any]:
    """What a server answers of a file that holds both sides of a pump."""
    left, right = measured(), measured("held")
    left["read"] = {**left["read"], "vacuum_column": "left (mmHg)", "side": "left"}
    right["read"] = {**right["read"], "vacuum_column": "right (mmHg)", "side": "right"}
    return {
        **left,
        "sides": {"left": left, "right": right},
        "imbalance": {
            "cycle_rate": {"value": 0.01, "unit": "cycles/min", "uncertainty": 0.02},
            "peak_vacuum": {"value": -21.04, "unit": "mmHg", "uncertainty": 1.54},
            "phase": {"value": 0.5123, "unit": "s", "uncertainty": 0.0061},
        },
    }


def measured(state: str = "accepted") -> dict[str, Any]:
    """What a server answers of one measured trace."""
    held = {
        "code": "leak",
        "severity": "hold",
        "message": "The vacuum does not come back to zero between cycles.",
        "hint": "Check the rig for leaks and zero the gauge at open air.",
    }
    note = {"code": "no_gauge", "severity": "note", "message": "No gauge was named.", "hint": "Declare it."}
    return {
        "state": state,
        "edition": 1,
        "measurements": {
            "peak_vacuum": {
                "value": 231.24689,
                "unit": "mmHg",
                "uncertainty": 1.5731,
                "parts": {"scatter": 0.3133, "accuracy": 1.5416, "zero": 0.0133},
            },
            "cycle_rate": {"value": 52.18841, "unit": "cycles/min", "uncertainty": 0.08123},
            "duty_factor": {"value": 0.61234, "unit": "1", "uncertainty": 0.0123},
            "loss_rate": {"value": 0.0, "unit": "per 100 cycles", "uncertainty": 0.0},
        },
        "findings": [held, note] if state == "held" else [note],
        "read": {
            "delimiter": "semicolon",
            "decimal": "comma",
            "encoding": "utf-8",
            "time_column": "t (s)",
            "time_unit": "s",
            "clock": "elapsed",
            "vacuum_column": "p (mmHg)",
            "vacuum_unit": "mmHg",
            "unit_basis": "header",
            "sign": "vacuum is positive",
            "rate_hz": 50.0,
            "samples": 3000,
            "duration_s": 59.98,
            "zero_mmhg": 0.12,
            "zero_basis": "open air in the trace",
        },
    }


class _Handler(BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"
    disable_nagle_algorithm = True  # otherwise two small writes wait for each other on a kept connection
    server: "Listening"

    def setup(self) -> None:
        super().setup()
        self.number = self.server.next_connection()

    def _handle(self) -> None:
        url = urlsplit(self.path)
        asked = Asked(
            self.command,
            url.path.removeprefix("/api/v1/"),
            {key: values[-1] for key, values in parse_qs(url.query).items()},
            {key.lower(): value for key, value in self.headers.items()},
            self.rfile.read(int(self.headers.get("Content-Length", 0))),
            self.number,
        )
        registry = self.server.registry
        registry.asked.append(asked)
        if registry.on_request:
            registry.on_request(asked)
        trouble = registry.troubles.pop(0) if registry.troubles else Trouble()
        if trouble.cut == "before":
            self._cut()
            return
        if trouble.status is not None:
            self._send(trouble.status, trouble.body, trouble.headers)
            return
        status, document, *more = registry.reply(asked)
        if trouble.cut == "after":
            self._cut()
            return
        kind = "application/json" if status < 400 else "application/problem+json"
        content = document if isinstance(document, bytes) else json.dumps(document).encode()
        self._send(status, content, {"Content-Type": kind, **dict(*more)}, midway=trouble.cut == "midway")

    do_GET = do_POST = do_PUT = do_DELETE = _handle  # noqa: N815 - the names that the base class calls

    def _send(self, status: int, body: bytes, headers: dict[str, str], *, midway: bool = False) -> None:
        self.send_response(status)
        self.send_header("Vacuary-Version", "0.1.0")
        self.send_header("Vacuary-Clients", self.server.registry.clients)
        self.send_header("Content-Length", str(len(body)))
        for key, value in headers.items():
            self.send_header(key, value)
        self.end_headers()
        self.wfile.write(body[: len(body) // 2] if midway else body)
        if midway:
            self._cut()

    def _cut(self) -> None:
        self.close_connection = True
        self.wfile.flush()
        self.connection.shutdown(socket.SHUT_RDWR)

    def log_message(self, format: str, *args: Any) -> None:  # noqa: A002 - the base class calls it so
        pass


class Listening(ThreadingHTTPServer):
    """A registry that listens on a port of its own until it is closed."""

    daemon_threads = True

    def __init__(self, registry: Registry) -> None:
        super().__init__(("127.0.0.1", 0), _Handler)
        self.registry = registry
        self.connections = 0
        self._thread = threading.Thread(target=self.serve_forever, kwargs={"poll_interval": 0.02})
        self._thread.start()

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.server_address[1]}"

    def next_connection(self) -> int:
        self.connections += 1
        return self.connections

    def handle_error(self, request: Any, client_address: Any) -> None:
        """A client that went away is part of the tests; anything else is a fault of this server."""
        if not isinstance(sys.exception(), ConnectionError):
            super().handle_error(request, client_address)

    def close(self) -> None:
        self.shutdown()
        self._thread.join()
        self.server_close()
