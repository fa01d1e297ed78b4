"""Measure stored runs under another edition, beside what they have, from their original bytes.

A run is done under an edition when its RunEdition row is there. Rows are written with everything else of the
run in one transaction, so work may be killed at any point and taken up again, and nothing comes twice.
"""

import logging
import time
from collections.abc import Collection, Iterator
from contextlib import contextmanager

from django.db import connection
from django.db.models import Exists, OuterRef, QuerySet

from registry.errors import SideNeeded, TooLarge, UnreadableTrace
from registry.intake.findings import unmeasured
from registry.intake.measure import DamagedTrace, measure_again
from registry.intake.remeasuring.rows import Outcome, store_outcomes
from registry.intake.subject import calibration_at
from registry.models import Edition, Run, RunEdition
from registry.waveform.editions import edition_of
from registry.waveform.reader.refusals import REFUSALS

STORED_AT_ONCE = 25
LONGEST_UNSTORED_S = 5.0
_PORTIONS = 0x5645  # the first half of the lock's first key; the second half is the edition
# What a fault in the numerics may raise on one odd trace; it is recorded and must not keep others waiting.
_FAULTS = (ArithmeticError, AttributeError, LookupError, RuntimeError, TypeError, ValueError)

log = logging.getLogger(__name__)


def left_under(edition: int) -> QuerySet[Run]:
    """Return the runs, withdrawn ones too, that are not measured under an edition; none if it is current."""
    done = RunEdition.objects.filter(run=OuterRef("pk"), edition=edition)
    is_current = Edition.objects.filter(number=edition, is_current=True)
    return Run.objects.filter(~Exists(done), ~Exists(is_current))


def remeasure(edition: int, first: int, last: int) -> int:
    """Measure those runs numbered first to last, both included, that are not done; return how many.

    A trace that cannot be measured is recorded with its code. Raises KeyError for an unknown edition.
    """
    edition_of(edition)
    with _alone(edition, first):
        left = left_under(edition).filter(pk__range=(first, last))
        return _measure_and_store(edition, left)


def remeasure_some(edition: int, most: int) -> int:
    """Measure up to `most` of the runs that are left, here and now; return how many."""
    edition_of(edition)
    return _measure_and_store(edition, left_under(edition).order_by("pk")[:most])


def _measure_and_store(edition: int, runs: QuerySet[Run]) -> int:
    """Measure one run after the other; store a few at a time, so that little is lost when killed."""
    count, begun, measured = 0, time.monotonic(), list[Outcome]()
    for run in with_gauges(list(runs.values_list("pk", flat=True))):
        measured.append(measure_under(run, edition))
        if len(measured) >= STORED_AT_ONCE or time.monotonic() - begun > LONGEST_UNSTORED_S:
            count += store_outcomes(edition, measured)
            begun, measured = time.monotonic(), []
    return count + store_outcomes(edition, measured)


def with_gauges(numbers: Collection[int]) -> list[Run]:
    """Return runs with all that measuring them asks for, in order of number: two queries."""
    told = Run.objects.select_related("session__gauge", "trace")
    calibrated = told.prefetch_related("session__gauge__calibrations")
    return list(calibrated.filter(pk__in=numbers).order_by("pk"))


def measure_under(run: Run, edition: int) -> Outcome:
    """Measure a run's bytes under an edition, with its gauge as it is declared now; stores nothing."""
    try:
        taken = measure_again(run, edition)
    except (UnreadableTrace, SideNeeded, TooLarge) as error:
        code = str(error.extra["reason"])
        # Everybody sees a finding, and the reader's own words may repeat what people wrote into the file.
        return _refused(run, edition, code, REFUSALS.get(code, "its file is refused"))
    except FileNotFoundError as error:
        log.error("the original of run %s is lost: %s", run.pk, error)
        code = "trace_damaged" if isinstance(error, DamagedTrace) else "trace_missing"
        return _refused(run, edition, code, "its original bytes are not in the trace storage")
    except _FAULTS as error:
        log.exception("run %s cannot be measured under edition %s", run.pk, edition)
        return _refused(run, edition, "fault", f"the program failed over it ({type(error).__name__})")
    _, notes = calibration_at(run.session.gauge, run.recorded_at)
    return Outcome(run, taken, (*taken.measured.findings, *notes))


def _refused(run: Run, edition: int, code: str, why: str) -> Outcome:
    return Outcome(run, None, (unmeasured(edition, why),), code)


@contextmanager
def _alone(edition: int, first: int) -> Iterator[None]:
    """Be the only one at a portion; another waits, and takes it over if this process is killed."""
    keys = portion_lock(edition, first)
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_lock(%s, %s)", keys)
    try:
        yield
    finally:
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_unlock(%s, %s)", keys)


def portion_lock(edition: int, first: int) -> tuple[int, int]:
    """Return the two keys of the advisory lock that whoever works on a portion holds."""
    return _PORTIONS << 16 | edition, first % 2**31
