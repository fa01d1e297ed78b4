"""Rule: a revision loses vacuum more often than its runs did before.

See `registry.statistics.losing` for how it is judged. Common practice, no published source: two loss events
in a hundred cycles more are felt.
"""

from collections.abc import Sequence
from dataclasses import asdict
from datetime import UTC, datetime, timedelta
from itertools import groupby
from operator import itemgetter
from typing import Any

import numpy as np
import pandas as pd
from django.db import connection

from registry.alerts.scanned import Scan
from registry.alerts.verdicts import Rule, Standing, Verdict, standing
from registry.answers.packing import headless, sizes, strung, unpacked_all
from registry.answers.wording import counted
from registry.models import Revision
from registry.statistics.losing import LOSS_LIMITS, Losing, LossRuns, losing, sliced

RULE = Rule(
    "losses_more",
    1,
    "revision",
    advice="Check membranes, valves and seals of the units named last, and whether their rigs are tight.",
    limits=asdict(LOSS_LIMITS),
)
_CALM = 0.05
_NAME_LONGEST = 79
# Each run's losses are kept with the summary of its cell; the database strings those of a setting together,
# each array without its head.
_LOSSES = f"""
SELECT u.revision_id, array_send(array_agg(s.unit_id)), array_send(array_agg(s.clinic_id)),
       array_send(array_agg(s.count::float8)),
       string_agg({headless("s.each_at")}, ''::bytea), string_agg({headless("s.each_value")}, ''::bytea)
FROM registry_unitsummary s JOIN registry_unit u ON u.id = s.unit_id
WHERE s.pump_model_id = ANY(%(models)s) AND s.edition_id = %(edition)s AND s.metric = 'loss_rate'
  AND s.each_at IS NOT NULL AND u.revision_id = ANY(%(revisions)s)
GROUP BY u.revision_id, s.mode, s.programme, s.level, s.side, s.rig_id
ORDER BY u.revision_id
"""  # noqa: S608 - put together from constants; all values are parameters
# The database counts microseconds of times from here.
_EPOCH = datetime(2000, 1, 1, tzinfo=UTC)


def judge(scan: Scan) -> list[Verdict]:
    """Judge every revision of the models that are looked at: two queries."""
    models = sorted(set(scan.readings.table["pump_model"].tolist()))
    if scan.only is not None:
        models = [scan.only.pump_model]
    known = {
        pk: (model, f"{name[:_NAME_LONGEST]}/{label}")
        for pk, model, name, label in Revision.objects.filter(pump_model__in=models).values_list(
            "pk", "pump_model", "pump_model__name", "label"
        )
        if scan.asks_for(pk)
    }
    explained = scan.off("unlisted_revision", "revision")
    return [
        _verdict(revision, known[revision], rows, scan.edition, explained=revision in explained)
        for revision, rows in _read(models, list(known), scan.edition)
    ]


def _read(models: list[int], revisions: list[int], edition: int) -> list[tuple[int, pd.DataFrame]]:
    """The table that `losing` takes of each build."""
    with connection.cursor() as cursor:
        cursor.execute(_LOSSES, {"models": models, "revisions": revisions, "edition": edition})
        found = cursor.fetchall()
    return [
        (revision, sliced(_runs([settings for _, *settings in of_build])))
        for revision, of_build in groupby(found, key=itemgetter(0))
    ]


def _runs(settings: Sequence[Sequence[bytes]]) -> LossRuns:
    """The runs of a build, of a row a setting."""
    units, clinics, counts, at, losses = zip(*settings, strict=True)
    return LossRuns(
        unit=unpacked_all("unit", units),
        clinic=unpacked_all("clinic", clinics),
        setting=np.repeat(np.arange(len(counts)), sizes(counts)),
        runs=unpacked_all("runs", counts).astype(np.int64),
        at=strung(at, np.int64),
        losses=strung(losses, np.float64),
    )


def _verdict(
    revision: int, name: tuple[int, str], rows: pd.DataFrame, edition: int, *, explained: bool
) -> Verdict:
    (model, subject), found = name, losing(rows)
    keys, runs = {"revision": revision, "pump_model": model}, int(rows["runs"].sum())
    if found is None:
        lacks = (
            f"needs {LOSS_LIMITS.units} units in {LOSS_LIMITS.clinics} clinics before and after, "
            f"{LOSS_LIMITS.runs} runs each"
        )
        says = f"Whether {subject} loses vacuum more often than before cannot be told: {lacks}."
        return Verdict(subject, Standing.UNJUDGED, 0.0, None, says, lacks=lacks, keys=keys, runs=runs)
    is_off = found.is_material() and not explained
    return Verdict(
        subject=subject,
        standing=standing(is_off=is_off, is_clear=found.times < LOSS_LIMITS.calm or found.p > _CALM),
        size=found.times - 1,
        p=found.p,
        says=_says(subject, found, is_off=is_off),
        evidence=_evidence(found, edition),
        keys=keys,
        since=_since(rows, found) if is_off else None,
        runs=runs,
        pieces=found.units,
        why=_held_against(found),
    )


def _since(rows: pd.DataFrame, found: Losing) -> datetime | None:
    times = rows["at"][rows["slice"] >= found.place]
    return _EPOCH + timedelta(microseconds=int(times.min())) if len(times) else None


def _says(subject: str, found: Losing, *, is_off: bool) -> str:
    if not is_off:
        return f"{subject} loses vacuum about as often as before, or seldom enough."
    return (
        f"{subject} loses vacuum {found.times:.1f} times as often as before: {found.after:.1f} in 100 cycles "
        f"instead of {found.before:.1f}, in {counted(found.agreeing, 'clinic')}, on "
        f"{counted(found.units, 'unit')}."
    )


def _held_against(found: Losing) -> tuple[str, ...]:
    return (
        f"{found.times:.2g} times as often; {LOSS_LIMITS.times:g} times matter",
        f"{found.after - found.before:+.2g} in 100 cycles; {LOSS_LIMITS.more:g} matter",
        f"{counted(found.agreeing, 'clinic')} saw more; at least {LOSS_LIMITS.clinics} have to",
    )


def _evidence(found: Losing, edition: int) -> dict[str, Any]:
    return {
        "before_per_100_cycles": round(found.before, 3),
        "after_per_100_cycles": round(found.after, 3),
        "times": round(found.times, 2),
        "units": found.units,
        "clinics": found.clinics,
        "clinics_that_saw_more": found.agreeing,
        "edition": edition,
    }
