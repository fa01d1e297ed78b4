"""Units at clinics, cell by cell, as summaries have them now: one row a cell comes from the database."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np
from django.db.models import Q

from registry.answers.packing import packed, unpacked
from registry.models import UnitSummary
from registry.statistics.nested import Cells, Codes

_DESIGNS = 256


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

# What a cell is made of; uncertainties are root mean squares over the runs.
READ = ("unit", "clinic", "runs", "mean", "squares", "random", "systematic")


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

    def of_runs(self, power: str = "power") -> dict[str, Any]:
        """Filters on what a run is; `power` leads to its power."""
        wanted = {
            "pump_model": self.pump_model,
            "mode": self.mode,
            "level": self.level,
            "programme__iexact": self.programme,
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
    columns = packed(READ)
    cells = rows.order_by().values(*_OF_SUMMARY.values()).annotate(**columns)
    size = len(_OF_SUMMARY)
    return [
        group_of(Key(*row[:size]), [unpacked(name, of) for name, of in zip(READ, row[size:], strict=True)])
        for row in cells.values_list(*_OF_SUMMARY.values(), *columns)
    ]


def group_of(key: Key, columns: Sequence[Sequence[float]]) -> Group:
    """Make a cell of its columns in the order of `READ`, a value a unit, clinic and gauge.

    What several gauges of a clinic read of a unit becomes one row: its mean is over runs, while squares stay
    those within each gauge, so that a difference between gauges never passes for repeatability.
    """
    units, clinics, unit, clinic, row = _coded(*(np.asarray(of, np.int64).tobytes() for of in columns[:2]))
    count, mean, squares, random, systematic = (np.asarray(column, float) for column in columns[2:])
    runs = np.bincount(row, count).astype(float)
    cells = Cells(
        unit=unit,
        clinic=clinic,
        mean=np.bincount(row, count * mean) / runs,
        runs=runs,
        systematic=np.sqrt(np.bincount(row, count * systematic**2) / runs),
        random=float(np.sqrt(count @ random**2 / runs.sum())),
        squares=float(squares.sum()),
        freedom=int((count - 1).sum()),
    )
    return Group(key, cells, units, clinics)


Keyed = tuple[tuple[int, ...], tuple[int, ...], Codes, Codes, Codes]


@lru_cache(_DESIGNS)
def _coded(units: bytes, clinics: bytes) -> Keyed:
    """Units and clinics, the code of either in each row of a cell, and the row that each summary goes to.

    Kept, since the same units mostly come from the same clinics at all settings.
    """
    clinic_keys, clinic = np.unique(np.frombuffer(clinics, np.int64), return_inverse=True)
    size = clinic_keys.size
    pairs, row = np.unique(np.frombuffer(units, np.int64) * size + clinic, return_inverse=True)
    unit_keys, unit = np.unique(pairs // size, return_inverse=True)
    return tuple(unit_keys.tolist()), tuple(clinic_keys.tolist()), unit, pairs % size, row
