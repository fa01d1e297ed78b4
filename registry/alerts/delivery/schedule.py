"""When to try again.

A minute after the first failure, then twice as long each time, up to half an hour, each spread at random so
that receivers that fail together are not met together. Given up three days after it was asked for.
The Standard Webhooks specification 1.0.0 recommends such a schedule "spanning multiple days" with jitter.
"""

import random
from datetime import timedelta
from typing import Final

FIRST: Final = timedelta(minutes=1)
LONGEST: Final = timedelta(minutes=30)
GIVEN_UP_AFTER: Final = timedelta(days=3)
_GROWTH = 2
_LONGEST_ASKED: Final = timedelta(days=1)  # a receiver may ask for patience, within reason


def wait_after(attempts: int, asked: timedelta | None = None, *, spread: float | None = None) -> timedelta:
    """How long to wait after so many failed attempts (1 or more) before the next.

    `asked` is what the receiver asked for, obeyed up to a day. `spread` from 0 to 1 places the wait between
    three quarters and five quarters of its length; it is random unless given.
    """
    where = random.random() if spread is None else spread  # noqa: S311 - it spreads load and guards nothing
    longest: timedelta = min(FIRST * _GROWTH ** min(attempts - 1, 10), LONGEST)
    wait = longest * (0.75 + 0.5 * where)
    return max(wait, min(asked, _LONGEST_ASKED)) if asked else wait
