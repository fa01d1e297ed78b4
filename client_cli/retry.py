"""When to try again, and how long to wait before.

Waiting doubles from half a second to half a minute, spread at random so that clients cut off together do not
come back together. A server that says how long to wait (Retry-After) is obeyed. It ends when the trouble has
lasted for as long as the person allows, counted from the first failure: a slow upload that is cut near its
end still gets its second chance.
"""

import random
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime

from tenacity import RetryCallState, Retrying, retry_if_exception_type

FIRST_WAIT_S = 0.5
LONGEST_WAIT_S = 30.0


class Transient(Exception):
    """An attempt that failed in a way that may pass; `retry_after_s` is what the server asked for."""

    def __init__(self, why: str, retry_after_s: float | None = None) -> None:
        super().__init__(why)
        self.why = why
        self.retry_after_s = retry_after_s


@dataclass
class Patience:
    """How long to go on (seconds from the first failure), and whom to tell before each wait."""

    seconds: float
    tell: Callable[[str, float], None] | None = None
    sleep: Callable[[float], None] = time.sleep
    clock: Callable[[], float] = time.monotonic
    _since: float | None = field(default=None, init=False)

    def retrying(self) -> Retrying:
        """A fresh controller for one call; it lets the last Transient through when patience ends."""
        self._since = None
        return Retrying(
            retry=retry_if_exception_type(Transient),
            wait=self._wait,
            stop=self._stop,
            before_sleep=self._before_sleep,
            sleep=self.sleep,
            reraise=True,
        )

    def _wait(self, state: RetryCallState) -> float:
        longest: float = min(FIRST_WAIT_S * 2 ** (state.attempt_number - 1), LONGEST_WAIT_S)
        jittered = longest * random.uniform(0.5, 1.0)  # noqa: S311 - it spreads load and guards nothing
        return max(jittered, _asked_for(state) or 0.0)

    def _stop(self, state: RetryCallState) -> bool:
        now = self.clock()
        if self._since is None:
            self._since = now
        return now - self._since + state.upcoming_sleep > self.seconds

    def _before_sleep(self, state: RetryCallState) -> None:
        error = state.outcome.exception() if state.outcome else None
        if self.tell and isinstance(error, Transient):
            self.tell(error.why, state.upcoming_sleep)


def _asked_for(state: RetryCallState) -> float | None:
    error = state.outcome.exception() if state.outcome else None
    return error.retry_after_s if isinstance(error, Transient) else None


def retry_after(header: str | None, now: datetime | None = None) -> float | None:
    """Seconds that a Retry-After header asks for, as a count or as a date; None when unusable."""
    if not header:
        return None
    text = header.strip()
    if text.isascii() and text.isdigit():
        return float(text)
    try:
        when = parsedate_to_datetime(text)
    except ValueError:
        return None
    if when.tzinfo is None:
        when = when.replace(tzinfo=UTC)
    return max((when - (now or datetime.now(UTC))).total_seconds(), 0.0)
