"""Units at clinics, cell by cell, as summaries have them now.

A row is a tuple: a cell's key (`KEY`), a unit, a clinic, and the sums over that clinic's gauges (`Sums`).
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from django.db.models import F, Q, Sum

from registry.models import UnitSummary
from registry.statistics.nested import Cells


class Key(NamedTuple):
    """What is pooled: one metric of one build at one setting. `revision` is None when it is not known."""

    revision: int | None
    mode: str
    programme: str
    level: str
    side: str
    rig: int
    power: str
    metric: str
    unit: str


class Row(NamedTuple):
    """One unit at one clinic: `total` is the sum over runs, `squares` that of squared deviations from each
    gauge's own mean with its degrees of freedom, `random` and `systematic` sums of squared uncertainties."""

    unit: int
    clinic: int
    runs: int
    total: float
    squares: float
    freedom: int
    random: float
    systematic: float


@dataclass(frozen=True)
class Group:
    """One cell's table with the keys of the units and clinics its codes stand for."""

    key: Key
    cells: Cells
    units: tuple[int, ...]
    clinics: tuple[int, ...]


# Where each key lies from a summary.
_OF_SUMMARY = {
    "revision": "unit__revision_id",
    "mode": "mode",
    "programme": "programme",
    "level": "level",
    "side": "side",
    "rig": "rig_id",
    "power": "power",
    "metric": "metric",
    "unit": "metric_unit",
}


@dataclass(frozen=True)
class Narrowed:
    """What a question narrows cells down to. None is any; an unknown revision always comes along."""

    pump_model: int
    edition: int
    revision: int | None = None
    mode: str | None = None
    level: str | None = None
    metric: str | None = None
    programme: str | None = None
    power: str | None = None

    def of_runs(self, to_run: str = "", power: str = "power") -> dict[str, Any]:
        """Filters on what a run is; `to_run` leads to its fields and `power` to its power."""
        wanted = {
            f"{to_run}pump_model": self.pump_model,
            f"{to_run}mode": self.mode,
            f"{to_run}level": self.level,
            f"{to_run}programme__iexact": self.programme,
            power: self.power,
        }
        return {name: value for name, value in wanted.items() if value is not None}

    def of_metric(self) -> dict[str, Any]:
        """Filters on the metric."""
        return {"edition": self.edition, **({"metric": self.metric} if self.metric is not None else {})}

    def has_revision(self, revision: int | None) -> bool:
        """Whether a unit of that revision comes along."""
        return self.revision is None or revision is None or revision == self.revision


def present(narrowed: Narrowed) -> list[Group]:
    """Return all cells as summaries have them now: one query."""
    rows = UnitSummary.objects.filter(**narrowed.of_runs(), **narrowed.of_metric())
    if narrowed.revision is not None:
        rows = rows.filter(Q(unit__revision=narrowed.revision) | Q(unit__revision=None))
    summed = rows.values(*_OF_SUMMARY.values(), "unit_id", "clinic_id").annotate(
        n=Sum("count"),
        total=Sum(F("count") * F("mean")),
        squares=Sum("sum_squares"),
        freedom=Sum(F("count") - 1),
        random=Sum(F("count") * F("u_random") * F("u_random")),
        systematic=Sum(F("count") * F("u_systematic") * F("u_systematic")),
    )
    figures = ("n", "total", "squares", "freedom", "random", "systematic")
    found = summed.values_list(*_OF_SUMMARY.values(), "unit_id", "clinic_id", *figures)
    size = len(_OF_SUMMARY)
    return grouped((Key(*row[:size]), Row(*row[size:])) for row in found.iterator())


def grouped(rows: Iterable[tuple[Key, Row]]) -> list[Group]:
    """Put rows together, cell by cell. Rows lie in order of unit and clinic, so that sums come out alike."""
    found: dict[Key, list[Row]] = {}
    for key, row in rows:
        found.setdefault(key, []).append(row)
    return [_group(key, sorted(of)) for key, of in found.items()]


def _group(key: Key, rows: list[Row]) -> Group:
    columns = np.array([row[2:] for row in rows], float).T
    runs, total, squares, freedom, random, systematic = columns
    units, unit = np.unique([row.unit for row in rows], return_inverse=True)
    clinics, clinic = np.unique([row.clinic for row in rows], return_inverse=True)
    cells = Cells(
        unit=unit,
        clinic=clinic,
        mean=total / runs,
        runs=runs,
        systematic=np.sqrt(systematic / runs),
        random=float(np.sqrt(random.sum() / runs.sum())),
        squares=float(squares.sum()),
        freedom=int(freedom.sum()),
    )
    return Group(key, cells, tuple(units.tolist()), tuple(clinics.tolist()))
