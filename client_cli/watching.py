"""Watch the alerts: look again and again, tell each once, outlast outages."""

import json
import sys
import time
from typing import Any

from client_cli.commands.common import Call
from client_cli.errors import Unreachable
from client_cli.exits import ExitCode
from client_cli.render.alerts import is_open, show_alert
from client_cli.session import PAGE_SIZE, Query, Session

LONGEST_WAIT_S = 300.0
sleep = time.sleep  # tests put another one here


class Watch:
    """One watch over the latest alerts. It ends by Ctrl-C, by a refusal, or at an open alert if asked to.

    The first look tells what is open; later ones what is new or has changed its state. While nothing changed
    the server answers with a few bytes. While it cannot be reached the looks become rarer, up to one in five
    minutes, and the first one after that tells all that happened meanwhile.
    """

    def __init__(
        self, call: Call, session: Session, asked: Query, every_s: float, *, stop_at_open: bool
    ) -> None:
        self._call, self._session = call, session
        self._asked: Query = {**asked, "page_size": PAGE_SIZE}
        self._every_s, self._stop_at_open = every_s, stop_at_open
        self._told: dict[Any, Any] | None = None
        self._tag = ""
        self._failures = 0

    def run(self) -> ExitCode:
        """Look until it ends."""
        while True:
            try:
                is_over = self._look()
            except Unreachable as error:
                self._miss(error)
            else:
                self._recover()
                if is_over:
                    return ExitCode.OPEN_ALERTS
            sleep(min(self._every_s * 2**self._failures, max(LONGEST_WAIT_S, self._every_s)))

    def _look(self) -> bool:
        """Tell what is new; whether an open one is there to stop at."""
        found, self._tag = self._session.get_if_changed("alerts", self._asked, self._tag)
        if found is None:
            return False
        before = self._told
        if before is None and found.get("next"):  # what is open may have been raised long ago
            found = self._session.collect("alerts", self._asked)
        alerts = found.get("results") or []
        for alert in reversed(alerts):
            known = is_open(alert) if before is None else before.get(alert.get("id")) != alert.get("state")
            if known:
                self._tell(alert)
        self._told = {**(before or {}), **{alert.get("id"): alert.get("state") for alert in alerts}}
        return self._stop_at_open and any(map(is_open, alerts))

    def _tell(self, alert: dict[str, Any]) -> None:
        if self._call.as_json:
            sys.stdout.write(json.dumps(alert, separators=(",", ":")) + "\n")
            sys.stdout.flush()
            return
        from client_cli.render.console import answers

        show_alert(answers(), alert)

    def _miss(self, error: Unreachable) -> None:
        """Say once that the server is away."""
        if not self._failures:
            self._call.remark(f"{error.message} The watch goes on.")
        self._failures = min(self._failures + 1, 10)

    def _recover(self) -> None:
        if self._failures:
            self._call.remark("The server answers again.")
        self._failures = 0
