"""Kept answers that people ask for are made again soon after something changed, before they ask again."""

import time
from typing import Any

from django.db import connection
from procrastinate.contrib.django import app

from registry.answers.keeping.bounds import drop, drop_parts, fold
from registry.answers.keeping.program import code_mark
from registry.answers.keeping.watching import total_changes
from registry.answers.served.ahead import make_parts_ahead
from registry.answers.served.kept import answer_and_keep, forget, look
from registry.answers.served.questions import Question
from registry.errors import DomainError

CALM_S = 3.0  # a sweep of uploads is waited for, but for a minute at most
_LATELY_DAYS = 7
_PORTION = 50
_BUDGET_S = 3.0  # other jobs wait so long at most, and for the answer in hand

# The latest asked first. Sums by scope are made once, for all questions.
_CHANGED = """
WITH counted AS MATERIALIZED (
    SELECT scope, sum(n) AS n, max(changed_at) AS changed_at FROM registry_changecount GROUP BY scope
), asked AS (
    SELECT digest, asked_at, made_at, changes, coalesce(sum(n), 0) AS n, max(changed_at) AS changed_at
    FROM registry_keptanswer kept
    LEFT JOIN counted ON kept.scopes IS NULL OR counted.scope = ANY (kept.scopes)
    WHERE code = %(code)s AND asked_at > now() - %(days)s * interval '1 day'
    GROUP BY digest
)
SELECT digest, changed_at < clock_timestamp() - %(calm)s * interval '1 second'
               OR made_at < clock_timestamp() - interval '1 minute' AS ready
FROM asked WHERE changes <> n ORDER BY ready DESC, asked_at DESC LIMIT %(portion)s
"""
_QUESTION = "SELECT question #>> '{}' FROM registry_keptanswer WHERE digest = %s"
_TIDY = "DELETE FROM procrastinate_jobs WHERE status = 'succeeded' AND task_name = ANY (%s)"
_nothing_to_do_at: list[int] = []  # how often anything had changed when last nothing was out of date


# After checks of fresh uploads, before remeasuring.
@app.periodic(cron="* * * * * */5")
@app.task(queueing_lock="kept-again", lock="kept-again", priority=-5)
def make_kept_again(timestamp: int = 0) -> None:  # noqa: ARG001 - the queue hands over when it was meant to run
    """Make answers asked for lately again where something changed since, a bounded portion at a time."""
    make_again()


@app.periodic(cron="*/10 * * * *")
@app.task(queueing_lock="kept-tidied", priority=-5)
def tidy_kept(timestamp: int = 0) -> None:  # noqa: ARG001 - the queue hands over when it was meant to run
    """Drop what there is no use for, fold the counts of changes, and clear the done jobs of these tasks."""
    drop()
    drop_parts()
    fold()
    with connection.cursor() as cursor:
        cursor.execute(_TIDY, [[make_kept_again.name, make_parts_ahead.name, tidy_kept.name]])


def make_again(calm_s: float = CALM_S) -> int:
    """Make kept answers again that are out of date and were asked for lately; returns how many.

    What changed within the last `calm_s` seconds waits, a minute at most since the answer was made. It ends
    after a few seconds' work; what is left is for the next time.
    """
    total = total_changes()
    if [total] == _nothing_to_do_at:
        return 0
    changed = _changed(calm_s)
    if not changed:
        _nothing_to_do_at[:] = [total]
    began, done = time.monotonic(), 0
    for digest, ready in changed:
        if not ready or time.monotonic() - began > _BUDGET_S:
            break
        done += _made_again(digest)
    return done


def _made_again(digest: bytes) -> bool:
    """Make one again. A question that has no answer any more, or fails, is not tried another time."""
    with connection.cursor() as cursor:
        cursor.execute(_QUESTION, [digest])
        found = cursor.fetchone()
    if found is None:
        return False
    try:
        question = Question.read(found[0])
        looked = look(question)
        if looked.kept is None:
            answer_and_keep(question, looked)
    except DomainError:
        forget(digest)
        return False
    except Exception:
        forget(digest)
        raise
    return True


def _changed(calm_s: float) -> list[tuple[bytes, bool]]:
    values: dict[str, Any] = {"code": code_mark(), "days": _LATELY_DAYS, "calm": calm_s, "portion": _PORTION}
    with connection.cursor() as cursor:
        cursor.execute(_CHANGED, values)
        return [(bytes(digest), ready) for digest, ready in cursor.fetchall()]
