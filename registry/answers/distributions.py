"""How a pump model behaves at each setting, build by build, over all clinics."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import prefetch_related_objects

from registry.answers import cautions
from registry.answers.anonymous import anonymous_code
from registry.answers.cells import Group, Narrowed, present
from registry.answers.filters import (
    chosen_elevation,
    chosen_level,
    chosen_metric,
    chosen_mode,
    chosen_power,
    chosen_programme,
    is_rig,
)
from registry.answers.left_out import left_out
from registry.answers.past import past
from registry.answers.setting import order_around, order_of_mode
from registry.answers.stamp import chosen_edition, chosen_moment, stamp
from registry.answers.telling import told_distributions
from registry.answers.wording import figure, natural
from registry.models import Clinic, PumpModel, Rig, Unit
from registry.models.lookup import find_pump_model, find_revision
from registry.statistics.domains import domain_of
from registry.statistics.precision import ESTIMATOR, Precision, summarise_all

# Beyond this many cells each clinic's influence and each reined unit would make a document nobody reads.
_DETAILED = 24


@dataclass(frozen=True)
class _Names:
    """What the keys in the table stand for. `clinics` holds the own clinic alone; others go without name."""

    revisions: Mapping[int, str]
    rigs: Mapping[int, str]
    clinics: Mapping[int, str]
    model: str


def answer_distributions(  # noqa: PLR0913 - one parameter a filter of the question
    model: str,
    *,
    revision: str | None = None,
    mode: str | None = None,
    level: str | int | None = None,
    metric: str | None = None,
    rig: str | None = None,
    programme: str | None = None,
    power: str | None = None,
    elevation: str | None = None,
    edition: int | None = None,
    as_of: datetime | None = None,
    clinic: Clinic | None = None,
) -> dict[str, Any]:
    """Return the `distributions` document: one cell a revision, setting and metric.

    Only like is pooled with like: mode, programme, level, side, rig, power and band of elevation
    each part the cells. `rig` is
    a rig's label or one of its parts. For the figures see `registry.statistics.precision`: None where counts
    do not carry one; below three units from two clinics a cell is `thin` and says what is `missing`.

    `edition` is the current one unless said. With `as_of`, a past time, the answer of that time is made again
    (see `registry.answers.past`). `clinic` asks: its own influence bears its name, others an anonymous code.
    Up to 24 cells tell `influence` and `reined_units`; with more these are None. `left_out` says what does
    not count. `says` tells the centres where one setting and metric is left, and else how many cells.

    Raises UnknownPumpModel, and Invalid on the field of what is not known or cannot be one.
    """
    pump_model = find_pump_model(model)
    prefetch_related_objects([pump_model], "revisions")
    number, moment = chosen_edition(edition), chosen_moment(as_of)
    narrowed = Narrowed(
        pump_model=pump_model.pk,
        edition=number,
        revision=_key(find_revision(pump_model, revision) if revision else None),
        mode=chosen_mode(mode),
        level=chosen_level(level),
        metric=chosen_metric(metric, number),
        programme=chosen_programme(programme),
        power=chosen_power(power),
        elevation=chosen_elevation(elevation),
    )
    stamped = stamp(number, moment)
    groups = past(narrowed, moment) if moment else present(narrowed)
    names = _names(pump_model, groups, clinic, rig)
    rigs = _matching(names, rig)
    groups = [group for group in groups if rigs is None or group.setting.rig in rigs]
    counted = [group for group in groups if narrowed.revision in (None, group.revision)]
    others = [group for group in groups if narrowed.revision not in (None, group.revision)]
    cells = _cells(counted, names)
    return {
        "model": pump_model.name,
        "cells": cells,
        "left_out": left_out(narrowed, rigs, others, moment),
        "estimator": ESTIMATOR,
        **stamped,
        "says": told_distributions(pump_model.name, cells, counted, moment),
        "cautions": [*cautions.DISTRIBUTIONS, *cautions.again(moment)],
    }


def _key(record: Any) -> int | None:
    return None if record is None else int(record.pk)


def _names(pump_model: PumpModel, groups: list[Group], clinic: Clinic | None, rig: str | None) -> _Names:
    """Where a rig is asked for, all rigs are named, since what is left out may be on one that no cell has."""
    revisions = sorted(pump_model.revisions.all(), key=lambda revision: revision.order)
    rigs = Rig.objects.all() if rig else Rig.objects.filter(pk__in={group.setting.rig for group in groups})
    return _Names(
        revisions={revision.pk: revision.label for revision in revisions},
        rigs={one.pk: one.label for one in rigs},
        clinics={clinic.pk: clinic.code} if clinic else {},
        model=pump_model.name,
    )


def _matching(names: _Names, wanted: str | None) -> frozenset[int] | None:
    """The rigs asked for, None for any."""
    if not wanted or not wanted.strip():
        return None
    return frozenset(key for key, label in names.rigs.items() if is_rig(label, wanted))


def _cells(groups: list[Group], names: _Names) -> list[dict[str, Any]]:
    order = {label: place for place, label in enumerate(names.revisions.values())}
    detailed = len(groups) <= _DETAILED
    tables = [(group.cells, domain_of(group.setting.metric)) for group in groups]
    found = list(zip(groups, summarise_all(tables, with_influence=detailed), strict=True))
    serials = _serials_of_reined(found) if detailed else {}
    cells = [
        {
            **_cell(group, precision, names),
            **(_details(group, precision, names, serials) if detailed else _NONE),
        }
        for group, precision in found
    ]
    return sorted(cells, key=lambda cell: _place(cell, order))


_NONE: Mapping[str, Any] = {"influence": None, "reined_units": None}


def _place(cell: dict[str, Any], order: Mapping[str, int]) -> tuple[Any, ...]:
    """Builds in order with the unknown last, then setting by setting as a pump counts them."""
    return (
        order.get(cell["revision"], len(order)),
        order_of_mode(cell["mode"]),
        natural(cell["programme"]),
        natural(cell["level"]),
        cell["metric"],
        *order_around(cell),
    )


def _cell(group: Group, precision: Precision, names: _Names) -> dict[str, Any]:
    return {
        "revision": names.revisions.get(group.revision or 0),
        **group.setting.named(names.rigs),
        **precision_document(precision),
    }


def _serials_of_reined(found: Iterable[tuple[Group, Precision]]) -> dict[int, str]:
    """Serials of all units that were reined in; no query where none was."""
    units = {group.units[code] for group, precision in found for code in precision.reined_units}
    return dict(Unit.objects.filter(pk__in=units).values_list("pk", "serial")) if units else {}


def _details(group: Group, precision: Precision, names: _Names, serials: Mapping[int, str]) -> dict[str, Any]:
    """Each clinic's influence, the strongest first, and the serials of the units reined in."""
    influence = [
        {
            "clinic": names.clinics.get(key) or anonymous_code(key, names.model),
            "own": key in names.clinics,
            "units": one.units,
            "runs": one.runs,
            "apart": figure(one.apart),
            "weight": figure(one.weight),
            "shift": figure(one.shift),
        }
        for key, one in zip(group.clinics, precision.influence, strict=True)
    ]
    return {
        "influence": sorted(influence, key=lambda one: (-abs(one["shift"] or 0.0), one["clinic"])),
        "reined_units": sorted(serials[group.units[code]] for code in precision.reined_units),
    }


def precision_document(precision: Precision) -> dict[str, Any]:
    """The figures of a cell under the names of the `distributions` document."""
    return {
        "runs": precision.runs,
        "units": precision.units,
        "clinics": precision.clinics,
        "centre": figure(precision.centre),
        "low": figure(precision.interval.low),
        "high": figure(precision.interval.high),
        "s_repeatability": figure(precision.repeat),
        "s_unit": figure(precision.unit),
        "s_clinic": figure(precision.clinic),
        "s_reproducibility": figure(precision.reproducibility),
        "s_between": figure(precision.between),
        "predict_low": figure(precision.next_unit.low),
        "predict_high": figure(precision.next_unit.high),
        "quantiles": {f"{p:g}": figure(value) for p, value in precision.quantiles.items()},
        "histogram": {"edges": list(precision.histogram.edges), "counts": list(precision.histogram.counts)},
        "state": precision.state,
        "missing": ", ".join(precision.missing),
        "reined": precision.reined,
    }
