"""How a pump model behaves at each setting, build by build, over all clinics."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import prefetch_related_objects

from registry.answers import cautions
from registry.answers.cell_parts import Crowd, kept_cells, names_of
from registry.answers.cells import Group, Narrowed, Readers, present
from registry.answers.figures import Told, readers_mark, worked_out
from registry.answers.filters import (
    chosen_elevation,
    chosen_level,
    chosen_metric,
    chosen_mode,
    chosen_power,
    chosen_programme,
    is_rig,
)
from registry.answers.left_out import Left, left, left_out
from registry.answers.past import past
from registry.answers.stamp import chosen_edition, chosen_moment, stamp
from registry.answers.telling import told_distributions
from registry.answers.written import Texts, plain
from registry.models import Clinic, PumpModel
from registry.models.lookup import find_pump_model, find_revision
from registry.statistics.precision import ESTIMATOR

# Beyond this many cells each clinic's influence and each reined unit would make a document nobody reads.
_DETAILED = 24


@dataclass(frozen=True)
class _Found:
    """Cells within a question, those of units whose revision is not known where one was asked for, who read
    in them, and the runs that do not count."""

    cells: list[Told]
    unknown: dict[str, int]
    crowd: Crowd
    left: list[Left]


def write_distributions(  # noqa: PLR0913 - one parameter a filter of the question
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
    """Return the `distributions` document, its cells as texts: one a revision, setting and metric.

    Only like is pooled with like: mode, programme, level, side, rig, power and band of elevation
    each part the cells. `rig` is
    a rig's label or one of its parts. For the figures see `registry.statistics.precision`: None where counts
    do not carry one; below three units from two clinics a cell is `thin` and says what is `missing`.

    Cells come from parts that were made ahead, where those are up to date, and else from summaries.
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
    found = (None if moment else _kept(narrowed, rig)) or _worked_out(pump_model, narrowed, rig, moment)
    cells = sorted(found.cells, key=lambda one: one.cell.order)
    detailed = len(cells) <= _DETAILED
    return {
        "model": pump_model.name,
        "cells": Texts(one.text(detailed=detailed, own=clinic) for one in cells),
        "left_out": left_out(found.left, found.unknown, moment),
        "estimator": ESTIMATOR,
        **stamped,
        "says": told_distributions(pump_model.name, cells, found.crowd, moment),
        "cautions": [*cautions.DISTRIBUTIONS, *cautions.again(moment)],
    }


def answer_distributions(model: str, **asked: Any) -> dict[str, Any]:
    """Return the `distributions` document; see `write_distributions` for what is asked and refused."""
    return plain(write_distributions(model, **asked))


def _key(record: Any) -> int | None:
    return None if record is None else int(record.pk)


def _kept(narrowed: Narrowed, rig: str | None) -> _Found | None:
    """From parts made ahead; None where they are not up to date."""
    found = kept_cells(narrowed)
    if found is None:
        return None
    shared, told = found
    told = [one for one in told if not _asked(rig) or is_rig(one.cell.label, _asked(rig))]
    counted = [one for one in told if narrowed.revision in (None, one.cell.revision)]
    others = [one.cell for one in told if narrowed.revision not in (None, one.cell.revision)]
    unknown = _unknown(((one.metric, one.runs, one.readers) for one in others), shared.crowd)
    return _Found(counted, unknown, shared.crowd, _with_rig(shared.left, shared.rigs, rig))


def _worked_out(
    pump_model: PumpModel, narrowed: Narrowed, rig: str | None, moment: datetime | None
) -> _Found:
    """From summaries; for a past time, from the runs that counted then."""
    groups = past(narrowed, moment) if moment else present(narrowed)
    # Where a rig is asked for, all are named, since what is left out may be on one that no cell has.
    names = names_of(pump_model, None if _asked(rig) else {group.setting.rig for group in groups})
    groups = [g for g in groups if not _asked(rig) or is_rig(names.rigs[g.setting.rig], _asked(rig))]
    counted = [group for group in groups if narrowed.revision in (None, group.revision)]
    others = [group for group in groups if narrowed.revision not in (None, group.revision)]
    crowd = _crowd(groups)
    unknown = _unknown(((g.setting.metric, int(g.cells.runs.sum()), _mark(g)) for g in others), crowd)
    told = worked_out(counted, names, detailed=len(counted) <= _DETAILED)
    return _Found(list(told), unknown, crowd, _with_rig(left(narrowed, moment), names.rigs, rig))


def _asked(rig: str | None) -> str:
    return (rig or "").strip()


def _with_rig(rows: Iterable[Left], labels: Mapping[int, str], rig: str | None) -> list[Left]:
    return [row for row in rows if not _asked(rig) or is_rig(labels[row.rig], _asked(rig))]


def _mark(group: Group) -> str:
    return readers_mark(Readers(group.units, group.clinics))


def _crowd(groups: Iterable[Group]) -> Crowd:
    return Crowd({_mark(group): Readers(group.units, group.clinics) for group in groups})


def _unknown(cells: Iterable[tuple[str, int, str]], crowd: Crowd) -> dict[str, int]:
    """Runs and units of cells, each with metric, runs and readers; a run of many metrics counts once."""
    marks: set[str] = set()
    runs: dict[str, int] = {}
    for metric, count, mark in cells:
        marks.add(mark)
        runs[metric] = runs.get(metric, 0) + count
    return {"runs": max(runs.values(), default=0), "units": crowd.count(marks)[0]}
