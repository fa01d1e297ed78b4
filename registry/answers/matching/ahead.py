"""What is ahead at every place of a pump model: all that needs and likenesses are judged by.

It depends on no need, filter or margin, so it is worked out ahead and kept (`ahead_kept`); where it is not
kept, the same functions make it of the summaries that a question takes in.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import combinations
from typing import Any

import numpy as np
from numpy.typing import NDArray

from registry.answers.blocks import Block, distinct, typical
from registry.answers.matching.ahead_bound import bound_at
from registry.answers.matching.leaning import Leaning, leanings_of, no_leaning
from registry.answers.places import Named, Names, Place, by_place, named
from registry.answers.readings import sound_rows, tables_in
from registry.answers.setting import order_of_mode
from registry.answers.wording import natural
from registry.models import Elevation
from registry.statistics.differences import fits
from registry.statistics.domains import domain_of
from registry.statistics.robust import Floats

# Of each metric at each place: how many units and clinics; the mean of what was read; the median of unit
# means; one run of the next unit as predicted, which is NaN where nothing tells how much units scatter; how
# many units were never read off the least value there can be.
_READ = ("units", "clinics", "mean", "median")
_PREDICTED = ("value", "error", "freedom")
FIGURES = (*_READ, *_PREDICTED, "at_bound")
_OF_READ = [*range(len(_READ)), FIGURES.index("at_bound")]
_OF_PREDICTED = slice(len(_READ), len(_READ) + len(_PREDICTED))
_KEYS = ("pump_model", "revision", "rig")
# The metrics that settings are held alike by, with their units.
ALIKE = {"cycle_rate": "cycles/min", "peak_vacuum": "mmHg"}


@dataclass(frozen=True)
class Ahead:
    """Places of a pump model in the order people expect; figures by place, metric and FIGURES.

    Figures are NaN where a metric was not measured.

    `together` holds the correlations of pairs of metrics (in the order of `pairs_of`), a row a place.
    `counts` has units and clinics of all of ALIKE together, a row a place.
    `links` are differences between two places of it (as `differences`), `leaning` is what those between
    models are worked out from.
    `blocks` are the summaries themselves, where it was made just now.
    """

    places: tuple[Named, ...]
    metrics: tuple[str, ...]
    figures: Floats
    together: NDArray[np.float32]
    counts: NDArray[np.int64]
    leaning: Leaning
    links: dict[tuple[int, int], Floats] = field(default_factory=dict)
    blocks: Mapping[Place, Mapping[str, Block]] = field(default_factory=dict)

    @property
    def size(self) -> int:
        """Bytes that it takes up, about."""
        leaning = self.leaning
        arrays = (self.figures, self.together, leaning.means, leaning.weight, leaning.variance, leaning.gauge)
        return sum(of.nbytes for of in arrays) + 500 * len(self.places) + 300 * len(self.links)

    def figures_of(self, metric: str) -> Floats:
        """The figures of one metric, places by FIGURES."""
        if metric not in self.metrics:
            return np.full((len(self.places), len(FIGURES)), np.nan)
        return np.asarray(self.figures[:, self.metrics.index(metric)])

    def together_of(self, one: str, other: str) -> NDArray[np.float32]:
        """The correlation of two metrics at each place, nought where it is not known."""
        if one not in self.metrics or other not in self.metrics:
            return np.zeros(len(self.places), np.float32)
        column = column_of(self.metrics.index(one), self.metrics.index(other), len(self.metrics))
        return np.asarray(self.together[:, column])

    @cached_property
    def columns(self) -> Mapping[str, NDArray[Any]]:
        """What places are narrowed down by, an entry a place."""
        columns = {name: [getattr(one.place, name) for one in self.places] for name in Place._fields}
        columns["rig_label"] = [one.rig for one in self.places]
        return {
            name: np.array(column, np.int64 if name in _KEYS else np.str_) for name, column in columns.items()
        }

    @cached_property
    def at(self) -> dict[Place, int]:
        """Where each place stands."""
        return {named.place: row for row, named in enumerate(self.places)}


def pairs_of(metrics: int) -> list[tuple[int, int]]:
    """The pairs of metrics in the order of `Ahead.together`."""
    return list(combinations(range(metrics), 2))


def column_of(one: int, other: int, metrics: int) -> int:
    """Where two of so many metrics stand in `pairs_of`."""
    first, second = min(one, other), max(one, other)
    # Pairs come as combinations do: those of the first metric, then those of the second.
    return first * (2 * metrics - first - 1) // 2 + second - first - 1


def nothing_ahead() -> Ahead:
    """That of a pump model nobody measured."""
    figures = np.zeros((0, 0, len(FIGURES)))
    return Ahead((), (), figures, np.zeros((0, 0), np.float32), np.zeros((0, 2), np.int64), no_leaning())


def ahead_of(blocks: Sequence[Block], metrics: Iterable[str], names: Names) -> list[Ahead]:
    """What is ahead at the places in the summaries, a pump model each, in the order of their names."""
    by_model: dict[int, list[tuple[Place, dict[str, Block]]]] = {}
    for place, by_metric in by_place(blocks).items():
        by_model.setdefault(place.pump_model, []).append((place, by_metric))
    models = sorted(by_model, key=lambda model: names.models[model])
    return [_of_model(by_model[model], tuple(metrics), names) for model in models]


def _of_model(
    found: Sequence[tuple[Place, dict[str, Block]]], metrics: tuple[str, ...], names: Names
) -> Ahead:
    rows = [(named(place, names), by_metric) for place, by_metric in found]
    rows.sort(key=lambda one: _order(one[0]))
    cells = {
        (row, metrics.index(metric)): block
        for row, (_, by_metric) in enumerate(rows)
        for metric, block in by_metric.items()
    }
    figures = np.full((len(rows), len(metrics), len(FIGURES)), np.nan)
    for cell, block in cells.items():
        figures[*cell, _OF_READ] = _as_read(block)
    at, read, sound = list(cells), list(cells.values()), dict(cells)
    leanings: dict[tuple[int, int], Leaning] = {}
    for places, fitted in fits(tables_in([[[block]] for block in read])):
        ahead = fitted.aheads(0)
        known = np.stack([ahead.value, ahead.error, ahead.freedom], axis=1)
        alike = np.array([place for place, of in enumerate(places) if metrics[at[of][1]] in ALIKE], np.intp)
        for of, predicted in zip(places.tolist(), known, strict=True):
            figures[*at[of], _OF_PREDICTED] = predicted
            if fitted.wild.size:
                sound[at[of]] = read[of].only(sound_rows(read[of], fitted.wild))
        held = leanings_of([read[of] for of in places[alike]], fitted.some(alike)) if alike.size else []
        for of, leaning in zip(places[alike].tolist(), held, strict=True):
            row, metric = at[of][0], list(ALIKE).index(metrics[at[of][1]])
            leanings[row, metric] = leaning.of(row, metric)
    return Ahead(
        tuple(one for one, _ in rows),
        metrics,
        figures,
        bound_at([one.place for one, _ in rows], sound, len(metrics), pairs_of(len(metrics))),
        np.array([_counts(by_metric) for _, by_metric in rows], np.int64),
        Leaning.joined([leanings[key] for key in sorted(leanings)]),
        blocks={one.place: by_metric for one, by_metric in rows},
    )


def _order(one: Named) -> tuple[Any, ...]:
    place = one.place
    around = (one.rig, place.power, Elevation.values.index(place.elevation), place.side)
    setting = (order_of_mode(place.mode), natural(place.programme), natural(place.level))
    return (one.revision or "", *setting, *around)


def _as_read(block: Block) -> tuple[float, ...]:
    """The figures of one metric at one place but for what is predicted."""
    counts = len(distinct([block], "unit")), len(distinct([block], "clinic"))
    return *counts, float(block.mean.mean()), typical([block]), _at_bound(block)


def _at_bound(block: Block) -> int:
    """How many units were read at the least value there can be, and never off it."""
    off = block.unit[block.mean != domain_of(block.setting.metric).low]
    return len(np.unique(block.unit)) - len(np.unique(off))


def _counts(by_metric: Mapping[str, Block]) -> tuple[int, int]:
    """How many units and clinics any of ALIKE was read of."""
    blocks = [block for metric, block in by_metric.items() if metric in ALIKE]
    units, clinics = (len(distinct(blocks, of)) if blocks else 0 for of in ("unit", "clinic"))
    return units, clinics


def differences(pairs: Sequence[tuple[Mapping[str, Block], Mapping[str, Block]]]) -> Floats:
    """New less old of pairs of places of one model, as a comparison works it out.

    Pairs by metrics of ALIKE by value, standard error and degrees of freedom; NaN where nothing tells how
    much units scatter.
    """
    found = np.full((len(pairs), len(ALIKE), 3), np.nan)
    for same in (True, False):
        # Two settings of one build have one spread between units.
        rows = [row for row, pair in enumerate(pairs) if _of_one_build(pair) == same]
        for column, metric in enumerate(ALIKE):
            cells = [[[old[metric]], [new[metric]]] for old, new in (pairs[row] for row in rows)]
            for places, fitted in fits(tables_in(cells, build=[0, 0] if same else [0, 1])):
                of = fitted.estimates(fitted.weights[:, 1] - fitted.weights[:, 0])
                known = np.stack([of.value, of.error, of.freedom], axis=1)
                found[np.array(rows)[places], column] = known
    return found


def _of_one_build(pair: tuple[Mapping[str, Block], Mapping[str, Block]]) -> bool:
    old, new = (next(iter(side.values())) for side in pair)
    return (old.pump_model, old.revision) == (new.pump_model, new.revision)


def reversed_difference(difference: Floats) -> Floats:
    """The same the other way round."""
    reversed_: Floats = difference * np.array([-1.0, 1.0, 1.0])
    return reversed_
