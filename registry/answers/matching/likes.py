"""An old setting translated: which settings of another build or pump are most like it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from math import isnan
from typing import Any

import numpy as np
from django.db.models import prefetch_related_objects

from registry.answers import cautions
from registry.answers.comparing.telling import told_setting
from registry.answers.filters import chosen_level, chosen_mode
from registry.answers.ground import NO_GROUND, Ground
from registry.answers.matching.ahead import ALIKE
from registry.answers.matching.ahead_kept import Asked, table_of
from registry.answers.matching.ahead_table import Table
from registry.answers.matching.alike import bench_parts, cautions_of, measured_alike, other_parts
from registry.answers.matching.doubts import UNTOLD, WITHIN, Doubt, doubts_of
from registry.answers.matching.instead import there_is
from registry.answers.matching.length import worked_out
from registry.answers.matching.likenesses import likenesses, medians
from registry.answers.matching.likes_told import told_likeness, told_nothing
from registry.answers.matching.matches import measured
from registry.answers.narrowing import Margins
from registry.answers.places import UNKNOWN_REVISION, Place, lacking
from registry.answers.setting import AROUND, AT
from registry.answers.wording import dated, figure
from registry.errors import Fault, Invalid
from registry.models import PumpModel
from registry.models.lookup import find_revision
from registry.statistics.matching import Rows

METRICS = ALIKE
_FORM = "Write REVISION:MODE:LEVEL or REVISION:MODE:PROGRAMME:LEVEL, as in A:expression:5."


@dataclass(frozen=True)
class _Setting:
    """What was asked to be alike to: one setting of one build."""

    model: PumpModel
    revision: int
    label: str
    mode: str
    programme: str
    level: str


@dataclass(frozen=True)
class Wanted:
    """The setting to be like: where it stands, what it was measured with, its typical values and units."""

    setting: _Setting
    row: int
    place: Place
    rig: str
    values: Mapping[str, float]
    units: int


def answer_like(  # noqa: PLR0913 - what a question narrows down to
    pump_model: PumpModel | None,
    like: str,
    like_model: str | None,
    where: Mapping[str, Any],
    edition: int,
    moment: datetime | None,
    *,
    rig: str | None,
    margins: Margins,
    most: int,
    stamped: Mapping[str, Any],
    ground: Ground = NO_GROUND,
) -> dict[str, Any]:
    """Return the `settings-matches` document: how far settings lie from the one to be like.

    Settings of the same mode (unless `where` names one) that were measured alike (`alike.measured_alike`) for
    cycle rate and peak vacuum; the nearest first, `most` of them. `other_parts` names what other builds
    and pumps were measured with in place of the old setting's protector, valve and tubing. `distance` is that
    of the further metric in margins, so 1 and less seems to be within what matters. `within` says whether it
    surely is or is not, at 5 % error; `probability` is the chance of it. Values are medians of unit means; a
    difference and its interval are `likenesses.likenesses`, in which what gauges and units have in common at
    both settings cancels, and the difference of the medians where nothing tells how much units scatter.
    `like_model` is the pump of the old setting, the asked one without it.

    Raises Invalid on `like` when the setting cannot be read or was not measured.
    """
    home = ground.pump_model(like_model, "like_model") if like_model and like_model.strip() else pump_model
    prefetch_related_objects([one for one in {home, pump_model} if one is not None], "revisions")
    asked = _asked(home, like)
    modes = {asked.mode, where.get("mode", asked.mode)}
    about = Asked(edition, tuple(METRICS), {"mode__in": sorted(modes)}, moment)
    among = None if pump_model is None else list({one.pk: one for one in (asked.model, pump_model)}.values())
    table = table_of(about, among)
    wanted = _wanted(table, asked, {name: where[name] for name in AROUND if name in where}, rig, about)
    widths = _widths(wanted, margins)
    where = {"mode": asked.mode, **where}
    near = _near(table, wanted, widths, where, pump_model, rig)
    rows = _rows(table, wanted, _told_of(table, near, most), about, widths)
    elsewhere = pump_model is None or pump_model.pk != asked.model.pk
    if rows:
        says = told_likeness(_about(wanted), asked.label, wanted.units, rows, with_model=elsewhere)
    else:
        says = told_nothing(_about(wanted), _instead(about, pump_model, wanted, where, rig))
    parts = cautions_of(rows[:most], with_model=elsewhere)
    return {
        "model": pump_model.name if pump_model else None,
        "needs": {},
        "like": _shown(wanted),
        "settings": rows[:most],
        "left_off": max(near.size - most, 0),
        **stamped,
        "says": dated(says, moment),
        "cautions": [*parts, *cautions.SETTINGS, *cautions.again(moment)],
    }


def _asked(home: PumpModel | None, like: str) -> _Setting:
    parts = [part.strip() for part in like.split(":")]
    if home is None or len(parts) not in (3, 4) or not all(parts):
        why = "names no pump model" if home is None else "is not a setting"
        hint = "Give model, or like_model." if home is None else _FORM
        raise Invalid(f"'{like.strip()[:80]}' {why}", hint=hint, faults=(Fault(why, field="like"),))
    label, mode, *programme, level = parts
    try:
        revision = find_revision(home, label)
        named, at = chosen_mode(mode), chosen_level(level)
    except Invalid as refused:
        faults = (Fault(refused.detail, field="like"),)
        raise Invalid(refused.detail, hint=f"{refused.hint} {_FORM}", faults=faults) from refused
    return _Setting(home, revision.pk, revision.label, str(named), "".join(programme), str(at))


def _wanted(
    table: Table, setting: _Setting, around: Mapping[str, str], rig: str | None, about: Asked
) -> Wanted:
    """The setting's place; where it was measured in several ways, the one most units have both metrics of.

    Where a rig is asked for, or one `around` it (power, elevation), the one with these.
    """
    at = {
        "pump_model": setting.model.pk,
        "revision": setting.revision,
        "mode": setting.mode,
        "programme": setting.programme,
        "level": setting.level,
        **around,
    }
    rows = np.flatnonzero(table.marked(at, rig) & measured(table, list(METRICS))).tolist()
    if not rows:
        there = " ".join(filter(None, (setting.mode, setting.programme, setting.level)))
        words = {"revision": setting.label, **{name: getattr(setting, name) for name in AT}, **around}
        instead = there_is(about, [setting.model], words, list(METRICS), rig)
        raise Invalid(
            f"{setting.model.name} revision {setting.label} was not measured at {there}"
            f"{': ' if instead else ''}{instead}",
            hint=f"Cycle rate and peak vacuum are both needed. {_FORM}",
            faults=(Fault("was not measured", field="like"),),
        )
    rows.sort(key=lambda row: table.named(row).place.around)
    row = max(rows, key=lambda row: table.counts(row)[0])
    values = dict(zip(METRICS, medians(table, [row])[0].tolist(), strict=True))
    named = table.named(row)
    return Wanted(setting, row, named.place, named.rig, values, table.counts(row)[0])


def _widths(wanted: Wanted, margins: Margins) -> dict[str, float]:
    """How far apart each metric may lie and still not matter."""
    found = {metric: margins.of(metric, unit) for metric, unit in METRICS.items()}
    return {metric: of.at(wanted.values[metric]) for metric, of in found.items() if of is not None}


def _near(
    table: Table,
    wanted: Wanted,
    widths: Mapping[str, float],
    where: Mapping[str, Any],
    pump_model: PumpModel | None,
    rig: str | None,
) -> Rows:
    """Every other setting measured alike, the nearest first."""
    of_model = {} if pump_model is None else {"pump_model": pump_model.pk}
    alike = measured_alike(table, wanted.place, wanted.rig, rig)
    kept = alike & table.marked({**where, **of_model}, None) & measured(table, list(METRICS))
    itself = {
        name: getattr(wanted.place, name) for name in ("pump_model", "revision", "mode", "programme", "level")
    }
    rows = np.flatnonzero(kept & ~table.marked(itself, None))
    apart = (medians(table, rows) - list(wanted.values.values())) / list(widths.values())
    return rows[np.argsort(np.max(np.abs(apart), axis=1), kind="stable")]


def _told_of(table: Table, near: Rows, most: int) -> Rows:
    """The nearest settings, one of a known build among them, since the first line is about such a one."""
    first, later = np.split(near, [worked_out(most)])
    known = [of[table.column("revision")[of] != UNKNOWN_REVISION] for of in (first, later)]
    return first if known[0].size else np.concatenate([first, known[1][:1]])


def _rows(
    table: Table, wanted: Wanted, found: Rows, about: Asked, widths: Mapping[str, float]
) -> list[dict[str, Any]]:
    """Rows of the document, the nearest first."""
    doubts = doubts_of(likenesses(table, wanted.row, found, about), list(widths.values()))
    rows = [
        {
            **table.named(row).shown(),
            "other_parts": other_parts(wanted.rig, table.named(row).rig),
            **_row(wanted, table.counts(row), centres, doubt, widths),
        }
        for row, centres, doubt in zip(found.tolist(), medians(table, found).tolist(), doubts, strict=True)
    ]
    return sorted(rows, key=lambda row: row["distance"])


def _row(
    wanted: Wanted,
    counts: tuple[int, int],
    centres: Sequence[float],
    doubt: Doubt,
    widths: Mapping[str, float],
) -> dict[str, Any]:
    metrics = {}
    for at, (metric, width) in enumerate(widths.items()):
        known = not isnan(doubt.differences[at])
        by = doubt.differences[at] if known else centres[at] - wanted.values[metric]
        metrics[metric] = {
            "centre": figure(centres[at]),
            "difference": figure(by),
            "in_margins": figure(by / width),
            "difference_low": figure(doubt.lows[at]) if known else None,
            "difference_high": figure(doubt.highs[at]) if known else None,
            "probability": figure(doubt.chances[at]) if known else None,
        }
    units, clinics = counts
    missing = lacking(units, clinics)
    return {
        "units": units,
        "clinics": clinics,
        "state": "thin" if missing else "ok",
        "missing": missing,
        "probability": figure(doubt.chance),
        "distance": max(abs(of["in_margins"] or 0.0) for of in metrics.values()),
        # Below what a distribution needs, nothing is surely within.
        "within": UNTOLD if missing and doubt.state == WITHIN else doubt.state,
        "metrics": metrics,
    }


def _shown(wanted: Wanted) -> dict[str, Any]:
    setting = wanted.setting
    return {
        "model": setting.model.name,
        "revision": setting.label,
        "mode": setting.mode,
        "programme": setting.programme,
        "level": setting.level,
        "rig": wanted.rig,
        "units": wanted.units,
        **{metric: figure(value) for metric, value in wanted.values.items()},
    }


def _about(wanted: Wanted) -> str:
    old, rate, vacuum = wanted.setting, wanted.values["cycle_rate"], wanted.values["peak_vacuum"]
    setting = told_setting({name: getattr(old, name) for name in AT})
    return f"{old.model.name} revision {old.label} at {setting} ({rate:.0f} cycles/min, {vacuum:.0f} mmHg)"


def _instead(
    about: Asked, pump_model: PumpModel | None, wanted: Wanted, where: Mapping[str, Any], rig: str | None
) -> str:
    """What there is of the pumps asked about, where nothing was measured like the old setting."""
    revisions = {} if pump_model is None else {of.pk: of.label for of in pump_model.revisions.all()}
    flange, load = bench_parts(wanted.rig)
    place = wanted.place
    words = {
        "revision": revisions.get(where.get("unit__revision", UNKNOWN_REVISION)),
        "mode": where["mode"],
        "programme": where.get("programme__iexact"),
        "side": place.side,
        "flange": flange,
        "load": load,
        "power": place.power,
        "elevation": place.elevation,
    }
    return there_is(about, None if pump_model is None else [pump_model], words, list(METRICS), rig)
