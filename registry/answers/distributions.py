"""How a pump model behaves at each setting, build by build, over all clinics."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from registry.answers import cautions
from registry.answers.filters import (
    chosen_level,
    chosen_metric,
    chosen_mode,
    chosen_power,
    chosen_programme,
    is_rig,
)
from registry.answers.stamp import current_edition, stamp
from registry.answers.summaries import SETTING, by_unit_and_clinic, summary_frame
from registry.answers.wording import counted, figure, in_words, natural, rounded, telling
from registry.models import Mode, PumpModel, Rig
from registry.models.lookup import find_pump_model, find_revision
from registry.statistics.domains import domain_of
from registry.statistics.nested import Cells
from registry.statistics.precision import Precision, summarise

_KEYS = ["revision", *SETTING, "metric_unit"]
# More centres than this are read in a table and not in a sentence.
_TOLD = 6


@dataclass(frozen=True)
class _Names:
    """What the keys in the table stand for."""

    revisions: Mapping[int, str]
    rigs: Mapping[int, str]


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
) -> dict[str, Any]:
    """Return the `distributions` document: one cell a revision, setting and metric of the current edition.

    Only like is pooled with like: mode, programme, level, side, rig and power each part the cells. `rig` is
    a rig's label or one of its parts. For the figures see `registry.statistics.precision`: None where counts
    do not carry one; below three units from two clinics a cell is `thin` and says what is `missing`.

    `says` tells the centres where one setting and metric is left, and else how many cells there are.

    Raises UnknownPumpModel, and Invalid on the field of a revision, mode, metric or power that is not known
    or of a level or programme that cannot be one.
    """
    pump_model = find_pump_model(model)
    edition = current_edition()
    where = _given(
        unit__revision=find_revision(pump_model, revision) if revision else None,
        mode=chosen_mode(mode),
        level=chosen_level(level),
        metric=chosen_metric(metric, edition),
        programme__iexact=chosen_programme(programme),
        power=chosen_power(power),
    )
    frame = summary_frame(pump_model=pump_model, edition=edition, **where)
    names = _names(pump_model, frame)
    frame = _of_rig(frame, names, rig)
    cells = _cells(frame, names)
    return {
        "model": pump_model.name,
        "cells": cells,
        **stamp(edition),
        "says": _says(pump_model, frame, cells),
        "cautions": list(cautions.DISTRIBUTIONS),
    }


def precision_cells(frame: pd.DataFrame) -> Iterator[tuple[dict[str, Any], Precision]]:
    """Yield the keys and figures of every cell of a table from `summary_frame`, in no set order."""
    merged = by_unit_and_clinic(frame)
    for key, rows in merged.groupby(_KEYS, sort=False, observed=True):
        named = dict(zip(_KEYS, key, strict=True))
        yield named, summarise(table(rows), domain_of(str(named["metric"])))


def table(rows: pd.DataFrame) -> Cells:
    """The rows of one cell, one a unit and clinic, as the statistics take them."""
    runs = rows["runs"].to_numpy(float)
    random = (rows["random"].to_numpy(float) ** 2 * runs).sum() / runs.sum()
    return Cells(
        unit=pd.factorize(rows["unit"])[0],
        clinic=pd.factorize(rows["clinic"])[0],
        mean=rows["mean"].to_numpy(float),
        runs=runs,
        systematic=rows["systematic"].to_numpy(float),
        random=float(random**0.5),
        squares=float(rows["squares"].sum()),
        freedom=int(rows["freedom"].sum()),
    )


def _given(**filters: Any) -> dict[str, Any]:
    return {name: value for name, value in filters.items() if value is not None}


def _names(pump_model: PumpModel, frame: pd.DataFrame) -> _Names:
    revisions = {revision.pk: revision.label for revision in pump_model.revisions.order_by("order")}
    rigs = Rig.objects.filter(pk__in=frame["rig"].unique().tolist())
    return _Names(revisions, {rig.pk: rig.label for rig in rigs})


def _of_rig(frame: pd.DataFrame, names: _Names, wanted: str | None) -> pd.DataFrame:
    if not wanted or not wanted.strip():
        return frame
    matching = [key for key, label in names.rigs.items() if is_rig(label, wanted)]
    return frame[frame["rig"].isin(matching)]


def _cells(frame: pd.DataFrame, names: _Names) -> list[dict[str, Any]]:
    order = {label: place for place, label in enumerate(names.revisions.values())}
    cells = [_cell(key, precision, names) for key, precision in precision_cells(frame)]
    return sorted(cells, key=lambda cell: _place(cell, order))


def _place(cell: dict[str, Any], order: Mapping[str, int]) -> tuple[Any, ...]:
    """Builds in order with the unknown last, then setting by setting as a pump counts them."""
    return (
        order.get(cell["revision"], len(order)),
        Mode.values.index(cell["mode"]),
        natural(cell["programme"]),
        natural(cell["level"]),
        cell["metric"],
        cell["rig"],
        cell["power"],
        cell["side"],
    )


def _cell(key: Mapping[str, Any], precision: Precision, names: _Names) -> dict[str, Any]:
    setting = {name: key[name] for name in ("mode", "programme", "level", "side", "power", "metric")}
    return {
        "revision": names.revisions.get(key["revision"]),
        **setting,
        "rig": names.rigs[key["rig"]],
        "unit": key["metric_unit"],
        **precision_document(precision),
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
        "state": precision.state,
        "missing": ", ".join(precision.missing),
        "reined": precision.reined,
    }


def _says(pump_model: PumpModel, frame: pd.DataFrame, cells: list[dict[str, Any]]) -> str:
    if not cells:
        return f"{pump_model.name}: no accepted runs match; nothing is known here yet."
    if len(cells) <= _TOLD and len({_asked(cell) for cell in cells}) == 1:
        return f"{pump_model.name}, {_asked(cells[0])}: {_centres(cells)}."
    thin = sum(cell["state"] == "thin" for cell in cells)
    units, clinics = frame["unit"].nunique(), frame["clinic"].nunique()
    measured = f"{counted(units, 'unit')} measured in {counted(clinics, 'clinic')}"
    carried = "all carry figures" if not thin else f"{thin} of them too thin to carry figures"
    return f"{pump_model.name}: {counted(len(cells), 'cell')} from {measured}; {carried}."


def _asked(cell: Mapping[str, Any]) -> str:
    """Setting and metric in words: "expression 3, peak vacuum"."""
    setting = " ".join(filter(None, (cell["mode"], cell["programme"], cell["level"])))
    return f"{setting}, {in_words(cell['metric'])}"


def _centres(cells: list[dict[str, Any]]) -> str:
    """The centre of each cell with what it rests on; rig, power and side only where they part cells."""
    parting = [name for name in ("rig", "power", "side") if len({cell[name] for cell in cells}) > 1]
    rigs = telling(cell["rig"] for cell in cells)
    told = []
    for place, cell in enumerate(cells):
        build = f"revision {cell['revision']}" if cell["revision"] else "unknown revision"
        shown = {**cell, "rig": rigs[cell["rig"]]}
        where = "".join(f", {shown[name] or f'{name} not said'}" for name in parting)
        unit = "" if place or cell["unit"] == "1" else f" {cell['unit']}"
        rests = f"{counted(cell['units'], 'unit')}, {counted(cell['clinics'], 'clinic')}"
        thin = "; thin" if cell["state"] == "thin" else ""
        told.append(f"{build}{where} {rounded(cell['centre'], _doubt(cell))}{unit} ({rests}{thin})")
    return "; ".join(told) if parting else ", ".join(told)


def _doubt(cell: Mapping[str, Any]) -> float | None:
    """About the standard uncertainty of a centre: its interval is some four of them wide."""
    return (cell["high"] - cell["low"]) / 4 if cell["low"] is not None else None
