"""Units at clinics, cell by cell, as summaries have them now: one row a cell comes from the database."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from functools import lru_cache
from typing import Any, NamedTuple, Protocol

import numpy as np
from django.db import connection

from registry.answers.filters import is_programme
from registry.answers.packing import packed, unpacked
from registry.answers.setting import OF_SUMMARY, Setting
from registry.models import UnitSummary
from registry.statistics.nested import Cells, Codes

_DESIGNS = 256


@dataclass(frozen=True)
class Group:
    """What is pooled: one setting of one build, with the keys of the units and clinics its codes stand for.

    `revision` is None when it is not known.
    """

    revision: int | None
    setting: Setting
    cells: Cells
    units: tuple[int, ...]
    clinics: tuple[int, ...]


class Readers(NamedTuple):
    """The keys of the units and clinics of a cell, in order."""

    units: tuple[int, ...]
    clinics: tuple[int, ...]


_KEYS = ("unit__revision_id", *OF_SUMMARY)
# What a cell is made of; uncertainties are root mean squares over the runs.
READ = ("unit", "clinic", "runs", "mean", "squares", "random", "systematic")


class Placed(Protocol):
    """What lies in a place of a pump model, whether a cell or runs that are in none."""

    @property
    def revision(self) -> int | None: ...
    @property
    def mode(self) -> str: ...
    @property
    def programme(self) -> str: ...
    @property
    def level(self) -> str: ...
    @property
    def power(self) -> str: ...
    @property
    def elevation(self) -> str: ...


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
    elevation: str | None = None

    def of_runs(self, sitting: str = "") -> dict[str, Any]:
        """Filters on what a run is; `sitting` leads to what is said of its sitting."""
        wanted = {
            "pump_model": self.pump_model,
            "mode": self.mode,
            "level": self.level,
            "programme__iexact": self.programme,
            f"{sitting}power": self.power,
            f"{sitting}elevation": self.elevation,
        }
        return {name: value for name, value in wanted.items() if value is not None}

    def in_sql(self, run: str, sitting: str, unit: str) -> tuple[list[str], dict[str, Any]]:
        """The same and the revision as conditions of a statement, given what its tables are called."""
        conditions = {
            "pump_model": f"{run}.pump_model_id = %(pump_model)s",
            "mode": f"{run}.mode = %(mode)s",
            "level": f"{run}.level = %(level)s",
            "programme": f"upper({run}.programme) = upper(%(programme)s)",
            "power": f"{sitting}.power = %(power)s",
            "elevation": f"{sitting}.elevation = %(elevation)s",
            "revision": f"({unit}.revision_id = %(revision)s OR {unit}.revision_id IS NULL)",
        }
        values = asdict(self)
        return [one for name, one in conditions.items() if values[name] is not None], values

    def of_metric(self) -> dict[str, Any]:
        """Filters on the metric."""
        return {"edition": self.edition, **({"metric": self.metric} if self.metric is not None else {})}

    def takes(self, one: Placed) -> bool:
        """Whether it lies where the question is, as the database would say. Raises CannotTell."""
        return (
            self.has_revision(one.revision)
            and self.mode in (None, one.mode)
            and self.level in (None, one.level)
            and self.power in (None, one.power)
            and self.elevation in (None, one.elevation)
            and (self.programme is None or is_programme(one.programme, self.programme))
        )

    def has_revision(self, revision: int | None) -> bool:
        """Whether a unit of that revision comes along."""
        return self.revision is None or revision is None or revision == self.revision


def present(narrowed: Narrowed) -> list[Group]:
    """Return all cells as summaries have them now: one query."""
    before, after = _of_all_cells()
    where, values = narrowed.in_sql("registry_unitsummary", "registry_unitsummary", "registry_unit")
    where.append("registry_unitsummary.edition_id = %(edition)s")
    if narrowed.metric is not None:
        where.append("registry_unitsummary.metric = %(metric)s")
    with connection.cursor() as cursor:
        cursor.execute(f"{before} WHERE {' AND '.join(where)} GROUP BY {after}", values)
        rows = cursor.fetchall()
    size = len(_KEYS)
    return [
        group_of(
            row[0],
            Setting(*row[1:size]),
            [unpacked(name, of) for name, of in zip(READ, row[size:], strict=True)],
        )
        for row in rows
    ]


@lru_cache(1)
def _of_all_cells() -> tuple[str, str]:
    """The statement for all cells there are, before and after its grouping.

    Putting it together for each question would take longer than the database does to answer small ones.
    """
    columns = packed(READ)
    cells = UnitSummary.objects.order_by().values(*_KEYS).annotate(**columns).values_list(*_KEYS, *columns)
    before, after = str(cells.query).split(" GROUP BY ")
    return before, after


def readers(pump_model: int, edition: int) -> set[Readers]:
    """Who read in the cells there are, each company once: one query."""
    rows = UnitSummary.objects.filter(pump_model=pump_model, edition=edition).order_by().values(*_KEYS)
    columns = packed(("unit", "clinic"))
    return {
        Readers(*(tuple(np.unique(unpacked("unit", of)).tolist()) for of in keys))
        for keys in rows.annotate(**columns).values_list(*columns)
    }


def metrics_of(pump_model: int, edition: int) -> list[str]:
    """The metrics there are cells of: one query."""
    rows = UnitSummary.objects.filter(pump_model=pump_model, edition=edition)
    return list(rows.order_by("metric").values_list("metric", flat=True).distinct())


def group_of(revision: int | None, setting: Setting, columns: Sequence[Sequence[float]]) -> Group:
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
    return Group(revision, setting, cells, units, clinics)


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
