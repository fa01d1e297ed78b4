"""Which of many settings meet a need, and how likely: all of them at once, rows of documents of the best."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from registry.answers.keeping.written import Texts
from registry.answers.matching.ahead_table import Table
from registry.answers.matching.row_texts import NULL, ahead_texts, metrics_texts, numbers, row_text
from registry.answers.places import UNKNOWN_REVISION, UNTOLD, lacking
from registry.statistics.domains import domain_of
from registry.statistics.likeliest import Likeliest, likeliest
from registry.statistics.matching import Need, Rows, within


@dataclass(frozen=True)
class Matches:
    """Places by how likely they meet the needs: the likeliest first, those too thin to tell after them.

    `told` are those that have a chance, of which `best` were worked out; `told` and `thin` are rows of the
    table, the rows of `best` are places among `told`.
    """

    table: Table
    needs: Mapping[str, Need]
    told: Rows
    best: Likeliest
    thin: Rows

    @property
    def size(self) -> int:
        """How many places there are."""
        return int(self.told.size + self.thin.size)

    @property
    def first(self) -> dict[str, Any] | None:
        """The likeliest place of a known build as documents name it, with its probability; None without one.

        One that is not among the best is looked for by itself.
        """
        rows = self.told[self.best.rows]
        known = np.flatnonzero(self._of_known_build(rows))
        if not known.size:
            others = self.told[self._of_known_build(self.told)]
            return match(self.table, others, self.needs, most=1, telling=1.0).first if others.size else None
        named = self.table.named(int(rows[known[0]]))
        return {**named.shown(), "probability": float(self.best.chances[known[0]])}

    def _of_known_build(self, rows: Rows) -> NDArray[np.bool_]:
        known: NDArray[np.bool_] = self.table.column("revision")[rows] != UNKNOWN_REVISION
        return known

    def texts(self, most: int) -> Texts:
        """Rows of the document, so many at most, each as JSON text."""
        told = self.told[self.best.rows[:most]]
        thin = self.thin[: max(most - told.size, 0)]
        chances = numbers(self.best.chances[:most])
        ok = zip(told.tolist(), self._counts(told), chances, self._ok(told), strict=True)
        few = zip(thin.tolist(), self._counts(thin), self._thin(thin), strict=True)
        place = self.table.shown
        rows = [row_text(place(row), counts, "ok", "", chance, of) for row, counts, chance, of in ok]
        rows += [
            row_text(place(row), counts, "thin", lacking(*counts) or UNTOLD, NULL, of)
            for row, counts, of in few
        ]
        return Texts(rows)

    def _counts(self, rows: Rows) -> Iterable[tuple[int, int]]:
        """Units and clinics of the metric that has fewest."""
        of = self.table.together(self.needs)
        return zip(of.units[rows].tolist(), of.clinics[rows].tolist(), strict=True)

    def _ok(self, rows: Rows) -> list[str]:
        """Each metric by itself, at places that carry it."""
        ahead = [self.table.ahead(metric, rows) for metric in self.needs]
        return metrics_texts(self.needs, ahead, self.best.alone[: rows.size])

    def _thin(self, rows: Rows) -> list[str]:
        """Places that are too thin have the mean of what was read, and nothing else."""
        nothing = np.full((rows.size, len(self.needs)), np.nan)
        means = [self.table.figures(metric, "mean")[rows] for metric in self.needs]
        ahead = [ahead_texts(mean, *nothing.T[:1], *nothing.T[:1]) for mean in means]
        return metrics_texts(self.needs, ahead, nothing)


def measured(table: Table, metrics: Sequence[str]) -> NDArray[np.bool_]:
    """The places at which all the metrics were measured."""
    return table.together(metrics).measured


def match(table: Table, rows: Rows, needs: Mapping[str, Need], *, most: int, telling: float) -> Matches:
    """Order places by how likely one run of the next unit at the next clinic meets all needs at once.

    The `most` likeliest are in their order. How many are `telling` or likelier is counted over all. A chance
    is told to six decimals. Below three units from two clinics, or where nothing tells how much units
    scatter, there is none.
    """
    of = table.together(needs)
    can_tell = of.is_told[rows]
    told = rows[can_tell]
    possible = [within(need, domain_of(metric)) for metric, need in needs.items()]
    bound = table.correlations(list(needs))
    best = likeliest(
        of.ahead_at(told), possible, lambda some, *pairs: bound(told[some], *pairs), most, telling
    )
    return Matches(table, needs, told, best, rows[~can_tell])
