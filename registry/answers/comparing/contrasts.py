"""Two sides held against each other wherever they were measured alike, before anything is asked of it.

What a question narrows down to chooses among the rows, and its margins and the number of its rows judge them
(`statistics.contrasted`); neither changes a fit. The one filter that would is elevation, since bands are put
together: where two sides share several bands, each band by itself may be a row of its own.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np

from registry.answers.blocks import Block, by_setting, distinct, typical
from registry.answers.comparing.measured import Measured, measured
from registry.answers.narrowing import Narrowed
from registry.answers.readings import tables_in
from registry.answers.setting import Setting, order_of_band, setting_order
from registry.statistics.contrasted import WIDTH as FIGURES
from registry.statistics.contrasted import Contrasted, contrasted
from registry.statistics.designs import Codes
from registry.statistics.differences import fits
from registry.statistics.strata import contrasts_of, within_strata
from registry.statistics.tables import Tables

UNFITTED = -1
Band = tuple[float, float, float]
_Counts = tuple[tuple[int, int], tuple[int, int, int]]


class Row(NamedTuple):
    """One setting and metric that both sides were measured at.

    `setting` is of no band; `bands` of elevation are those put together, all there are in common unless the
    row is of one band `alone`. `units` and `clinics` count those of old and new; clinics also those of both.
    `fit` is the place among what was fitted; where it is UNFITTED, `typical` has both values. `within` has
    the difference and both ends in each band by itself, where there are several.
    """

    setting: Setting
    bands: tuple[str, ...]
    alone: bool
    units: tuple[int, int]
    clinics: tuple[int, int, int]
    fit: int
    typical: tuple[float, float] | None
    within: tuple[Band, ...]

    def reversed(self) -> "Row":
        """The same with old for new."""
        setting, bands, alone, units, (before, after, both), fit, typical, within = self
        turned = tuple((-value, -high, -low) for value, low, high in within)
        clinics = (after, before, both)
        return Row(setting, bands, alone, units[::-1], clinics, fit, typical and typical[::-1], turned)


@dataclass(frozen=True)
class Contrasts:
    """What both sides were measured at, all rows in the order of documents, and what was fitted; `labels` are
    those of rigs.

    `heights` are the elevations by band and clinic, None where they are not known beforehand.
    """

    sides: tuple[Measured, Measured]
    rows: tuple[Row, ...]
    found: Contrasted
    labels: Mapping[int, str]
    heights: Mapping[tuple[str, int], float] | None = None

    def reversed(self) -> "Contrasts":
        """The same with old for new."""
        rows = tuple(row.reversed() for row in self.rows)
        return replace(self, sides=self.sides[::-1], rows=rows, found=self.found.reversed())

    @cached_property
    def fitted(self) -> list[Row]:
        """The rows that were fitted."""
        return [row for row in self.rows if row.fit != UNFITTED]

    @cached_property
    def of_fitted(self) -> Contrasted:
        """What was fitted of these, in their order."""
        return self.found.some(np.array([row.fit for row in self.fitted], np.intp))


def narrowed_down(of: Contrasts, asked: Narrowed) -> Contrasts:
    """What a question asks for of what is there: the same as if nothing else had been fitted.

    Raises CannotTell where it is the database's to tell what is asked for.
    """
    chosen, band = asked.chosen(of.labels), asked.elevation

    def kept(side: Measured) -> Measured:
        settings = enumerate(side.settings)
        at = [place for place, one in settings if band in (None, one.elevation) and chosen(one)]
        return side if len(at) == len(side.settings) else side.only(at)

    rows = [row for row in of.rows if (not row.alone if band is None else row.bands == (band,))]
    return replace(
        of,
        sides=(kept(of.sides[0]), kept(of.sides[1])),
        rows=tuple(row for row in rows if chosen(row.setting)),
    )


def contrasts_between(
    old: Sequence[Block],
    new: Sequence[Block],
    labels: Mapping[int, str],
    fixed: Sequence[int] = (),
    *,
    each_band: bool = False,
) -> Contrasts:
    """Hold two sides against each other at every setting and metric that both have in a band of elevation.

    `fixed` are keys of units that are themselves asked about. With `each_band` there is a row of each band
    by itself besides that of several.
    """
    pairs = sorted(_pairs(old, new, each_band=each_band), key=lambda pair: pair.order(labels))
    place, within = np.full(len(pairs), UNFITTED), dict[int, tuple[Band, ...]]()
    tables, size = [np.zeros((0, FIGURES))], 0
    for at, together in fits(_tables(pairs, fixed), thin=True):
        of = contrasts_of(together)
        tables.append(contrasted(together, of).table)
        place[at] = size + np.arange(at.size)
        size += at.size
        if len(of.within) > 1:
            bands = [(one.value, *one.interval()) for one in within_strata(together, of)]
            told = np.array(bands).transpose(2, 0, 1).tolist()
            within |= {row: tuple(map(tuple, of_row)) for row, of_row in zip(at.tolist(), told, strict=True)}
    known: dict[bytes, _Counts] = {}
    rows = (
        pair.row(fit, within.get(at, ()), known)
        for at, (pair, fit) in enumerate(zip(pairs, place.tolist(), strict=True))
    )
    found = Contrasted(np.concatenate(tables))
    return Contrasts((measured(old), measured(new)), tuple(rows), found, labels)


def _tables(pairs: Sequence["_Pair"], fixed: Sequence[int]) -> Iterator[tuple[Codes, Tables]]:
    """All pairs as tables, those of as many bands at once."""
    for bands in sorted({len(pair.bands) for pair in pairs}):
        places = np.array([place for place, pair in enumerate(pairs) if len(pair.bands) == bands])
        for at, tables in tables_in([pairs[place].cells for place in places], fixed, [0, 1] * bands):
            yield places[at], tables


@dataclass(frozen=True)
class _Pair:
    """The summaries of both sides at a setting, cell by cell: old and new of each band in turn."""

    setting: Setting
    bands: tuple[str, ...]
    cells: list[list[Block]]
    alone: bool

    def order(self, labels: Mapping[int, str]) -> tuple[Any, ...]:
        """Sort key over the rows of a document."""
        return setting_order({**self.setting.named(labels), "elevation": self.bands[0]})

    def row(self, fit: int, within: tuple[Band, ...], known: dict[bytes, _Counts]) -> Row:
        """Its row, given what became of its fit, and the counts that are known already."""
        sides = [[block for cell in self.cells[which::2] for block in cell] for which in (0, 1)]
        key = b"|".join(block.who for side in sides for block in side)
        units, clinics = known.get(key) or known.setdefault(key, _counts(*sides))
        alone = (typical(sides[0]), typical(sides[1])) if fit == UNFITTED else None
        return Row(self.setting, self.bands, self.alone, units, clinics, fit, alone, within)


def _counts(old: Sequence[Block], new: Sequence[Block]) -> _Counts:
    """Units of old and new; clinics of old, of new and of both."""
    units = [len(distinct(side, "unit")) for side in (old, new)]
    clinics = [distinct(side, "clinic") for side in (old, new)]
    return (units[0], units[1]), (len(clinics[0]), len(clinics[1]), len(clinics[0] & clinics[1]))


def _pairs(old: Sequence[Block], new: Sequence[Block], *, each_band: bool) -> Iterator[_Pair]:
    before, after = (_by_band(blocks) for blocks in (old, new))
    for setting, bands in sorted(before.items()):
        both = [band for band in bands if band in after.get(setting, {})]
        both.sort(key=order_of_band)
        cells = {band: [before[setting][band], after[setting][band]] for band in both}
        if both:
            together = [cell for band in both for cell in cells[band]]
            yield _Pair(setting, tuple(both), together, alone=False)
        if each_band and len(both) > 1:
            for band in both:
                yield _Pair(setting, (band,), cells[band], alone=True)


def _by_band(blocks: Sequence[Block]) -> dict[Setting, dict[str, list[Block]]]:
    """The summaries of each setting, whatever the elevation, by its bands."""
    found: dict[Setting, dict[str, list[Block]]] = {}
    for setting, of in by_setting(blocks).items():
        found.setdefault(setting._replace(elevation=""), {})[setting.elevation] = of
    return found
