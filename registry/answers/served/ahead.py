"""Parts of answers are made ahead: of every pump model, soon after what they rest on changed and is calm."""

import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

from django.db import connection
from procrastinate.contrib.django import app

from registry.answers.comparing.contrasts_kept import CONTRASTS
from registry.answers.comparing.firmware_pairs import FIRMWARES
from registry.answers.comparing.heights import HEIGHTS
from registry.answers.comparing.side_parts import READINGS
from registry.answers.comparing.swaps_kept import SWAPS
from registry.answers.comparing.unit_pairs import UNITS
from registry.answers.distributions.cell_parts import CELLS
from registry.answers.keeping.parts import NOTHING, PartKind, Place, made_all
from registry.answers.keeping.program import code_mark
from registry.answers.keeping.watching import total_changes
from registry.answers.matching.ahead_kept import AHEAD
from registry.answers.stamp import current_edition

# Parts of what is asked the most come first, and what takes the longest last.
KINDS: tuple[PartKind, ...] = (CELLS, AHEAD, CONTRASTS, HEIGHTS, SWAPS, READINGS, FIRMWARES, UNITS)
CALM_S = 3.0  # a sweep of uploads is waited for
_BUDGET_S = 3.0  # other jobs wait so long at most, and for the part in hand
_MAKING = 0x61686561  # one process makes parts ahead at a time
# The row of this key says that all of a model's parts were made, or tried, after so many changes.
_ALL = "*"

# What changed last comes first. Sums by scope are made once, for all models.
_DUE = """
WITH counted AS MATERIALIZED (
    SELECT scope, sum(n) AS n, max(changed_at) AS changed_at FROM registry_changecount GROUP BY scope
), always AS (
    SELECT coalesce(sum(n), 0) AS n, max(changed_at) AS changed_at FROM counted WHERE scope = ANY (%(always)s)
), took AS MATERIALIZED (
    SELECT pump_model, sum(spent_s) AS spent_s FROM registry_keptpart
    WHERE %(patience)s > 0 AND kind = %(kind)s AND edition = %(edition)s AND code = %(code)s
    GROUP BY pump_model
)
SELECT model.id, coalesce(
    greatest(mine.changed_at, always.changed_at)
        < clock_timestamp() - greatest(%(calm)s, %(patience)s * took.spent_s) * interval '1 second',
    true
) AS calm
FROM registry_pumpmodel model
CROSS JOIN always
LEFT JOIN counted mine ON mine.scope = model.id
LEFT JOIN took ON took.pump_model = model.id
LEFT JOIN registry_keptpart whole ON whole.pump_model = model.id AND whole.kind = %(kind)s
    AND whole.key = %(all)s AND whole.edition = %(edition)s AND whole.code = %(code)s
WHERE whole.changes IS DISTINCT FROM coalesce(mine.n, 0) + always.n
ORDER BY calm DESC, mine.changed_at DESC NULLS LAST, model.id
"""
_DONE = "SELECT count(*) FROM registry_keptpart WHERE kind = ANY (%s) AND key = %s AND code = %s"
_nothing_to_do_at: list[tuple[int, int]] = []  # changes, and models done, when last nothing was out of date


# After answers that people asked for.
@app.periodic(cron="* * * * * */5")
@app.task(queueing_lock="kept-ahead", lock="kept-ahead", priority=-6)
def make_parts_ahead(timestamp: int = 0) -> None:  # noqa: ARG001 - the queue hands over when it was meant to run
    """Make what is missing or out of date, a bounded portion at a time."""
    make_ahead(_BUDGET_S)


def make_ahead(budget_s: float | None = None, calm_s: float = CALM_S) -> int:
    """Make the parts of all models that are missing or out of date; returns how many.

    What changed within the last `calm_s` seconds waits; longer, unless that is nought, where its kind has
    `patience`. It ends after about `budget_s` seconds, of which such kinds get a part; what is left is for
    the next time. While another process is at it, nothing is made. Raises what the first part that could not
    be made raised, once all others are made.
    """
    with _alone() as alone:
        if not alone:
            return 0
        now = _now()
        if [now] == _nothing_to_do_at:
            return 0
        began = time.monotonic()
        edition, done, due = current_edition(), 0, False
        failed: list[Exception] = []
        for kind in KINDS:
            until = _until(kind, began, budget_s)
            for model, calm in _due(kind, edition, calm_s):
                due = True
                if calm and not _over(until):
                    done += _made_of(Place(kind, edition, model), until, failed)
        if failed:
            raise failed[0]
        if not due:
            _nothing_to_do_at[:] = [now]
        return done


def _made_of(place: Place, until: float | None, failed: list[Exception]) -> int:
    """Make a model's parts that are not good. What fails is not tried again before a change."""
    changes, good, done = place.changes(), place.good(), 0
    missing = [key for key in place.kind.keys(place.model, place.edition) if key not in good]
    for start in range(0, len(missing), place.kind.at_once):
        if _over(until):
            return done
        done += _made(place, missing[start : start + place.kind.at_once], changes, failed)
    place.keep({_ALL: NOTHING}, changes, 0.0)
    return done


def _made(place: Place, keys: Sequence[str], changes: int, failed: list[Exception]) -> int:
    """Make some at once; where one fails, each by itself."""
    try:
        made_all(place.kind, place.edition, place.model, keys)
    except Exception as error:  # noqa: BLE001 - raised when all else is made
        if len(keys) > 1:
            return sum(_made(place, [key], changes, failed) for key in keys)
        failed.append(error)
        place.keep(dict.fromkeys(keys, NOTHING), changes, 0.0)
        return 0
    return len(keys)


def _until(kind: PartKind, began: float, budget_s: float | None) -> float | None:
    """When no more parts of a kind are begun."""
    if budget_s is None:
        return None
    share = budget_s / kind.patience if kind.patience else budget_s
    return min(began + budget_s, time.monotonic() + share)


def _over(until: float | None) -> bool:
    return until is not None and time.monotonic() > until


@contextmanager
def _alone() -> Iterator[bool]:
    """Whether no other process makes parts ahead now, and none begins before this ends."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_try_advisory_lock(%s)", [_MAKING])
        alone = bool(cursor.fetchone()[0])
    try:
        yield alone
    finally:
        if alone and connection.connection is not None:
            with connection.cursor() as cursor:
                cursor.execute("SELECT pg_advisory_unlock(%s)", [_MAKING])


def _now() -> tuple[int, int]:
    with connection.cursor() as cursor:
        cursor.execute(_DONE, [[kind.name for kind in KINDS], _ALL, code_mark()])
        return total_changes(), int(cursor.fetchone()[0])


def _due(kind: PartKind, edition: int, calm_s: float) -> list[tuple[int, bool]]:
    values: dict[str, Any] = {"all": _ALL, "calm": calm_s, "patience": kind.patience if calm_s else 0.0}
    with connection.cursor() as cursor:
        cursor.execute(_DUE, {**kind.by_this_program(edition), **values})
        return list(cursor.fetchall())
