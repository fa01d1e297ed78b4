"""How a pump model behaves at each setting, build by build, over all clinics."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from registry.answers import cautions
from registry.answers.cells import Group, Narrowed, Readers, present
from registry.answers.distributions.about import About, about_model
from registry.answers.distributions.cell_parts import Crowd, Kept, Shared, names_of
from registry.answers.distributions.figures import Told, readers_mark, worked_out
from registry.answers.distributions.instead import what_there_is
from registry.answers.distributions.left_out import Left, left, left_out
from registry.answers.distributions.telling import told_distributions, told_many, told_nothing
from registry.answers.filters import (
    chosen_elevation,
    chosen_level,
    chosen_metric,
    chosen_mode,
    chosen_power,
    chosen_programme,
    is_rig,
)
from registry.answers.ground import NO_GROUND, Ground
from registry.answers.keeping.written import Pieces, Texts, plain
from registry.answers.past import past
from registry.answers.stamp import chosen_moment, stamp
from registry.models import Clinic, PumpModel
from registry.models.lookup import find_revision
from registry.statistics.precision import ESTIMATOR

# Beyond this many cells each clinic's influence and each reined unit would make a document nobody reads.
_DETAILED = 24


@dataclass(frozen=True)
class _Found:
    """Cells within a question as they are written, what they say, the runs and units of no known revision
    where one was asked for, the runs that do not count, and whether one clinic or two carry a centre."""

    cells: Texts | Pieces
    says: str
    unknown: dict[str, int]
    left: list[Left]
    carried: bool


@dataclass(frozen=True)
class _Asked:
    """A question. `rig` is empty for any."""

    about: About
    narrowed: Narrowed
    rig: str
    moment: datetime | None
    own: Clinic | None

    def is_rig(self, label: str) -> bool:
        """Whether it is about a rig of that label."""
        return not self.rig or is_rig(label, self.rig)

    def counts(self, revision: int | None) -> bool:
        """Whether cells of that revision are told, or only that they are there."""
        return self.narrowed.revision in (None, revision)


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
    ground: Ground = NO_GROUND,
) -> dict[str, Any]:
    """Return the `distributions` document, its cells as texts: one a revision, setting and metric.

    Only like is pooled with like: mode, programme, level, side, rig, power and band of elevation each part
    the cells. `rig` is a rig's label or one of its parts. For the figures see
    `registry.statistics.precision`: None where counts do not carry one; below three units from two clinics a
    cell is `thin` and says what is `missing`.

    Cells come from parts that were made ahead, where those are up to date, and else from summaries.
    `edition` is the current one unless said. With `as_of`, a past time, the answer of that time is made again
    (see `registry.answers.past`). `clinic` asks: its own influence bears its name, others an anonymous code.
    Up to 24 cells tell `influence` and `reined_units`; with more these are None. `left_out` says what does
    not count. `says` tells the centres where one setting and metric is left, and else how many cells.

    Raises UnknownPumpModel, and Invalid on the field of what is not known or cannot be one.
    """
    moment, number = chosen_moment(as_of), ground.chosen_edition(edition)
    pump_model = ground.pump_model(model)
    kept = None if moment else Kept.of(pump_model.pk, number, metric)
    about = kept.shared.about if kept else about_model(pump_model)
    narrowed = Narrowed(
        pump_model=about.pk,
        edition=number,
        revision=_revision(about, pump_model, revision) if revision else None,
        mode=chosen_mode(mode),
        level=chosen_level(level),
        metric=chosen_metric(metric, number),
        programme=chosen_programme(programme),
        power=chosen_power(power),
        elevation=chosen_elevation(elevation),
    )
    stamped = stamp(number, moment)
    asked = _Asked(about, narrowed, (rig or "").strip(), moment, clinic)
    found = (kept and (_from_blocks(kept, asked) or _from_cells(kept, asked))) or _worked_out(asked)
    return {
        "model": about.name,
        "cells": found.cells,
        "left_out": left_out(found.left, found.unknown, moment),
        "estimator": ESTIMATOR,
        **stamped,
        "says": found.says,
        "cautions": [
            *cautions.DISTRIBUTIONS,
            *cautions.carried(any_is=found.carried),
            *cautions.again(moment),
        ],
    }


def answer_distributions(model: str, **asked: Any) -> dict[str, Any]:
    """Return the `distributions` document; see `write_distributions` for what is asked and refused."""
    return plain(write_distributions(model, **asked))


def _revision(about: About, pump_model: PumpModel, label: str) -> int:
    """The revision of that label. Raises Invalid on the field `revision`."""
    wanted = label.strip().casefold()
    for key, known in about.revisions.items():
        if known.casefold() == wanted:
            return key
    return int(find_revision(pump_model, label).pk)


def _from_blocks(kept: Kept, asked: _Asked) -> _Found | None:
    """From blocks made ahead; None where they are not up to date, or cells are to be told in detail."""
    found = kept.blocks(asked.narrowed, asked.is_rig)
    if found is None:
        return None
    shared, blocks = found
    counted = [block for block in blocks if asked.counts(block.revision)]
    cells = sum(block.cells for block in counted)
    if cells <= _DETAILED:
        return None
    others = [block for block in blocks if not asked.counts(block.revision)]
    unknown = _unknown(
        (pair for block in others for pair in block.runs.items()),
        shared.crowd.count(mark for block in others for mark in block.readers)[0],
    )
    readers = shared.crowd.count(mark for block in counted for mark in block.readers)
    says = told_many(asked.about.name, cells, sum(block.thin for block in counted), *readers)
    return _Found(
        Pieces(block.piece for block in counted),
        says,
        unknown,
        _left(asked, shared),
        any(block.carried for block in counted),
    )


def _from_cells(kept: Kept, asked: _Asked) -> _Found | None:
    """From cells made ahead; None where they are not up to date."""
    found = kept.cells(asked.narrowed)
    if found is None:
        return None
    shared, told = found
    told = [one for one in told if asked.is_rig(one.cell.label)]
    counted = [one for one in told if asked.counts(one.cell.revision)]
    others = [one.cell for one in told if not asked.counts(one.cell.revision)]
    units, _ = shared.crowd.count(cell.readers for cell in others)
    unknown = _unknown(((cell.metric, cell.runs) for cell in others), units)
    return _told(asked, counted, shared.crowd, unknown, _left(asked, shared))


def _worked_out(asked: _Asked) -> _Found:
    """From summaries; for a past time, from the runs that counted then."""
    narrowed, moment = asked.narrowed, asked.moment
    groups = past(narrowed, moment) if moment else present(narrowed)
    # Where a rig is asked for, all are named, since what is left out may be on one that no cell has.
    names = names_of(asked.about, None if asked.rig else {group.setting.rig for group in groups})
    groups = [group for group in groups if asked.is_rig(names.rigs[group.setting.rig])]
    counted = [group for group in groups if asked.counts(group.revision)]
    others = [group for group in groups if not asked.counts(group.revision)]
    unknown = _unknown(
        ((group.setting.metric, int(group.cells.runs.sum())) for group in others),
        len({unit for group in others for unit in group.units}),
    )
    told = worked_out(counted, names, detailed=len(counted) <= _DETAILED)
    rows = [row for row in left(narrowed, moment) if not asked.rig or asked.is_rig(names.rigs[row.rig])]
    return _told(asked, list(told), _crowd(counted), unknown, rows)


def _told(
    asked: _Asked, told: Iterable[Told], crowd: Crowd, unknown: dict[str, int], rows: list[Left]
) -> _Found:
    cells = sorted(told, key=lambda one: one.cell.order)
    detailed = len(cells) <= _DETAILED
    texts = Texts(one.text(detailed=detailed, own=asked.own) for one in cells)
    carried = any(one.cell.carried for one in cells)
    return _Found(texts, _says(asked, cells, crowd), unknown, rows, carried)


def _says(asked: _Asked, cells: list[Told], crowd: Crowd) -> str:
    """What is told first. What there is instead of nothing is known of the present alone."""
    if cells:
        return told_distributions(asked.about.name, cells, crowd, asked.moment)
    about = asked.about
    instead = "" if asked.moment else what_there_is(asked.narrowed, asked.rig, about.revisions)
    return told_nothing(about.name, instead, asked.moment)


def _left(asked: _Asked, shared: Shared) -> list[Left]:
    return [row for row in shared.left if asked.is_rig(shared.rigs[row.rig])]


def _crowd(groups: Iterable[Group]) -> Crowd:
    readers = (Readers(group.units, group.clinics) for group in groups)
    return Crowd({readers_mark(one): one for one in readers})


def _unknown(runs: Iterable[tuple[str, int]], units: int) -> dict[str, int]:
    """Runs and units of cells, given the runs of each by metric; a run of many metrics counts once."""
    of_metric: dict[str, int] = {}
    for metric, count in runs:
        of_metric[metric] = of_metric.get(metric, 0) + count
    return {"runs": max(of_metric.values(), default=0), "units": units}
