"""Rule: a revision loses vacuum more often than its runs did before.

See `registry.statistics.losing` for how it is judged. Common practice, no published source: two loss events
in a hundred cycles more are felt.
"""

from dataclasses import asdict
from datetime import datetime
from typing import Any

import numpy as np
import pandas as pd
from django.db import connection

from registry.alerts.scanned import Scan
from registry.alerts.verdicts import Rule, Standing, Verdict, standing
from registry.answers.wording import counted
from registry.models import Revision
from registry.statistics.losing import COLUMNS, LOSS_LIMITS, Losing, losing

RULE = Rule(
    "losses_more",
    1,
    "revision",
    advice="Check membranes, valves and seals of the units named last, and whether their rigs are tight.",
    limits=asdict(LOSS_LIMITS),
)
_CALM = 0.05
_NAME_LONGEST = 79
# Times are cut into stretches of as many runs each; what a setting usually loses is taken off, so that a
# change of settings is none of losses.
_LOSSES = """
WITH read AS (
    SELECT u.revision_id, r.unit_id, r.clinic_id, m.value, least(r.recorded_at, r.created_at) AS at,
           avg(m.value) OVER (PARTITION BY u.revision_id, r.mode, r.programme, r.level, r.side, r.rig_id)
               AS usual,
           avg(m.value) OVER (PARTITION BY u.revision_id) AS overall
    FROM registry_run r JOIN registry_unit u ON u.id = r.unit_id
    JOIN registry_measurement m ON m.run_id = r.id AND m.edition_id = %(edition)s AND m.metric = 'loss_rate'
    WHERE r.pump_model_id = ANY(%(models)s) AND r.state = 'accepted' AND u.revision_id = ANY(%(revisions)s)
), sliced AS (
    SELECT *, ntile(%(slices)s) OVER (PARTITION BY revision_id ORDER BY at, unit_id) - 1 AS slice FROM read
)
SELECT revision_id, unit_id, clinic_id, slice, count(*), avg(value - usual + overall)::float, min(at)
FROM sliced GROUP BY revision_id, unit_id, clinic_id, slice
"""


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
    with connection.cursor() as cursor:
        cursor.execute(
            _LOSSES,
            {"models": models, "revisions": revisions, "edition": edition, "slices": LOSS_LIMITS.slices},
        )
        table = pd.DataFrame(cursor.fetchall(), columns=["revision", *COLUMNS, "at"])
    of = table["revision"].to_numpy(np.int64)
    return [(one, table[of == one]) for one in np.unique(of).tolist()]


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
    times = [at for at, place in zip(rows["at"], rows["slice"], strict=True) if place >= found.place]
    return min(times, default=None)


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
