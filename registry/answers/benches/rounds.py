"""Rounds: units that several clinics measured, and how each clinic's readings of them score.

A round needs no declaration: a unit measured by three clinics or more is one, with the days it was measured
on. Scores are those of ISO 13528, see `registry.statistics.rounds`.
"""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

import numpy as np
import pandas as pd
from django.db.models import Count, Max, Min

from registry.alerts.readings import METRICS, VACUUM
from registry.answers.anonymous import anonymous_code
from registry.answers.past import runs_at
from registry.answers.setting import order_around
from registry.answers.summaries import SETTING, summary_frame
from registry.answers.wording import figure, natural
from registry.models import Rig, RunState, Unit, UnitSummary
from registry.statistics.rounds import ENOUGH_CLINICS, Round, score_round

# Standard deviations for assessment, relative; as benches are assessed by. Common practice, no published
# source. Below 20 mmHg a vacuum is mostly the gauge's zero.
_SIGMA = {metric: 0.02 if metric in VACUUM else 0.01 for metric in METRICS}
_LEAST = {metric: 20.0 if metric in VACUUM else 1.0 for metric in METRICS}


def reference_rounds(
    edition: int, own: Mapping[int, str], moment: datetime | None = None
) -> list[dict[str, Any]]:
    """Return one document a round, the latest first: five queries, however many rounds.

    With `moment`, as they were at that past time. Each has the unit, first and last day, and for each
    setting and metric the assigned value, its standard uncertainty, the robust standard deviation between
    clinics, which score counts (`by`), and the scores. Clinics in `own` bear their name; others a code that
    is another one in each round.
    """
    frame = _sent_round(edition, moment)
    frame = frame[frame.groupby(["unit", *SETTING])["clinic"].transform("nunique") >= ENOUGH_CLINICS]
    units = Unit.objects.select_related("pump_model").in_bulk(frame["unit"].unique().tolist())
    rigs = {rig.pk: rig.label for rig in Rig.objects.filter(pk__in=frame["rig"].unique().tolist())}
    days = _days(list(units), moment)
    of_units: Any = frame.groupby("unit")  # the keys are numbers of units, whatever a table may hold
    rounds = [
        {
            "pump_model": units[unit].pump_model.name,
            "serial": units[unit].serial,
            "first_day": days[unit][0],
            "last_day": days[unit][1],
            "clinics": int(rows["clinic"].nunique()),
            "settings": _settings(rows, rigs, own, f"round {unit}"),
        }
        for unit, rows in of_units
    ]
    rounds = [one for one in rounds if one["settings"]]
    return sorted(rounds, key=lambda one: (one["last_day"] or "", one["serial"]), reverse=True)


def _sent_round(edition: int, moment: datetime | None) -> pd.DataFrame:
    """The summaries of units that enough clinics measured; of a past time all are read to find them."""
    where: dict[str, Any] = {"edition": edition, "metric__in": METRICS}
    if moment is None:
        sent = (
            UnitSummary.objects.filter(**where)
            .values("unit")
            .annotate(clinics=Count("clinic", distinct=True))
            .filter(clinics__gte=ENOUGH_CLINICS)
            .values_list("unit", flat=True)
        )
        where["unit__in"] = list(sent)
    return summary_frame(moment, **where)


def _days(units: list[int], moment: datetime | None) -> dict[int, tuple[str | None, str | None]]:
    """First and last day each unit was measured on, None where nobody said."""
    state = "state" if moment is None else "then"
    runs = runs_at(moment).filter(unit__in=units, **{state: RunState.ACCEPTED}).order_by()
    spans = runs.values_list("unit").annotate(Min("session__held_on"), Max("session__held_on"))
    known = {unit: (first, last) for unit, first, last in spans}
    return {
        unit: (first.isoformat() if first else None, last.isoformat() if last else None)
        for unit, (first, last) in ((unit, known.get(unit, (None, None))) for unit in units)
    }


def _settings(
    frame: pd.DataFrame, rigs: Mapping[int, str], own: Mapping[int, str], within: str
) -> list[dict[str, Any]]:
    told = []
    for key, rows in frame.groupby([*SETTING, "metric_unit"], sort=False):
        named: dict[str, Any] = dict(zip((*SETTING, "unit"), key, strict=True))
        clinics, values, u = _by_clinic(rows)
        least = float(np.abs(np.median(values)))
        if least < _LEAST[named["metric"]]:
            continue
        found = score_round(values, u, _SIGMA[named["metric"]] * least)
        told.append({**named, "rig": rigs[named["rig"]], **_scores(found, clinics, own, within)})
    return sorted(told, key=_place)


def _by_clinic(rows: pd.DataFrame) -> tuple[list[int], np.ndarray, np.ndarray]:
    """Each clinic's mean over its runs, with the standard uncertainty of that mean.

    Repeatability is pooled over clinics and gauges; what gauges share is not averaged away.
    """
    runs = rows["runs"].to_numpy(float)
    freedom = float((runs - 1).sum())
    repeat = float(rows["squares"].sum()) / freedom if freedom >= 2 else 0.0
    random = np.maximum(rows["random"].to_numpy(float) ** 2, repeat)
    clinics, code = np.unique(rows["clinic"].to_numpy(), return_inverse=True)
    counts = np.bincount(code, runs)
    mean = np.bincount(code, runs * rows["mean"].to_numpy(float)) / counts
    systematic = np.bincount(code, runs * rows["systematic"].to_numpy(float) ** 2) / counts
    noise = np.bincount(code, runs * random) / counts**2
    return clinics.tolist(), mean, np.sqrt(noise + systematic)


def _scores(found: Round, clinics: list[int], own: Mapping[int, str], within: str) -> dict[str, Any]:
    scores = [
        {
            "clinic": own.get(key) or anonymous_code(key, within),
            "own": key in own,
            "value": figure(one.value),
            "u": figure(one.u),
            "z": figure(one.z),
            "z_prime": figure(one.z_prime),
            "reads": one.reads,
            "en": figure(one.en),
            "en_reads": one.en_reads,
        }
        for key, one in zip(clinics, found.scores, strict=True)
    ]
    return {
        "assigned": figure(found.assigned),
        "u_assigned": figure(found.u_assigned),
        "s_robust": figure(found.robust),
        "sigma": figure(found.sigma),
        "by": found.by,
        "scores": sorted(scores, key=lambda one: (-abs(one["z"]), one["clinic"])),
    }


def _place(setting: Mapping[str, Any]) -> tuple[Any, ...]:
    names = ("mode", "programme", "level")
    return (*(natural(setting[name]) for name in names), setting["metric"], *order_around(setting))
