"""Wait until an edition is measured, asking again for what a killed or failed job left."""

import time
from collections.abc import Callable

from registry.intake.remeasuring.jobs import Progress, ask_for, progress

_MOST_FRUITLESS = 5


class NoProgress(Exception):
    """Portions were asked for again and again and nothing came of it; the workers' log says why."""


def wait(edition: int, portion: int, tell: Callable[[Progress], None], pause_s: float = 1.0) -> None:
    """Return when no run is left; `tell` is called every `pause_s` seconds.

    Runs uploaded meanwhile are measured too. Raises NoProgress.
    """
    fruitless, before = 0, None
    while (now := progress(edition)).left:
        tell(now)
        if not now.waiting and not now.in_hand:
            fruitless = fruitless + 1 if now.left == before else 0
            if fruitless > _MOST_FRUITLESS:
                raise NoProgress(f"{now.left} runs are left and no worker gets on with them")
            before = now.left
            ask_for(edition, portion)
        time.sleep(pause_s)
    tell(now)
