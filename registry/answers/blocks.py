"""Unit summaries as comparisons take them: all rows of a metric of one build at one setting, as arrays.

Each block comes from the database as one row of packed columns (`packing`): no object is made for a single
number, so that an answer over thousands of summaries costs little more than one over a few.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from registry.answers.packing import COLUMNS, KEYS, UNDECLARED, packed, sizes, unpacked_all
from registry.answers.past import rows_at
from registry.answers.setting import OF_SUMMARY, Setting
from registry.models import UnitSummary
from registry.statistics.robust import Floats

UNKNOWN = -1
Keys = NDArray[np.int64]


@dataclass(frozen=True)
class Block:
    """A row a unit, clinic and gauge. `revision` is -1 when not known, and so is a gauge nobody declared.

    `mean` is that of `runs`, `squares` the sum of their squared deviations, `random` and `systematic` the
    standard uncertainties of one run.
    """

    pump_model: int
    revision: int
    setting: Setting
    unit: Keys
    clinic: Keys
    gauge: Keys
    runs: Floats
    mean: Floats
    squares: Floats
    random: Floats
    systematic: Floats

    @cached_property
    def who(self) -> bytes:
        """Who read what: mostly the same at many settings, for which all that follows from it is the same."""
        return b"".join((self.unit.tobytes(), self.clinic.tobytes(), self.gauge.tobytes()))

    def only(self, kept: NDArray[np.bool_]) -> "Block":
        """The rows marked."""
        columns: Iterable[Any] = (getattr(self, name)[kept] for name in COLUMNS)
        return Block(self.pump_model, self.revision, self.setting, *columns)


def of_units(blocks: Iterable[Block], marks: Callable[[Keys], NDArray[np.bool_]]) -> list[Block]:
    """What blocks have of the units marked, given their keys; blocks without any of them are left out.

    Blocks that share an array of units share what is marked.
    """
    known: dict[int, tuple[Any, ...]] = {}
    found = []
    for block in blocks:
        if id(block.unit) not in known:
            kept = np.flatnonzero(marks(block.unit))
            known[id(block.unit)] = kept, block.unit[kept], block.clinic[kept], block.gauge[kept]
        kept, *who = known[id(block.unit)]
        if kept.size == block.unit.size:
            found.append(block)
        elif kept.size:
            values: Iterable[Any] = (getattr(block, name)[kept] for name in COLUMNS[len(KEYS) :])
            found.append(Block(block.pump_model, block.revision, block.setting, *who, *values))
    return found


_OF_SUMMARY = {"pump_model_id": "pump_model", "unit__revision_id": "revision", **OF_SUMMARY}


def summary_blocks(moment: datetime | None = None, **where: Any) -> list[Block]:
    """Return the summaries that match, a block a pump model, revision, setting and metric: one query.

    With `moment`, as they were at that past time (see `past.rows_at`: slower, two queries). `where` are
    filters on UnitSummary and must name the edition.
    """
    if moment is not None:
        return blocks_of(rows_at(moment, where))
    found = UnitSummary.objects.filter(**where).order_by().values(*_OF_SUMMARY).annotate(**packed())
    size = len(_OF_SUMMARY)
    rows = list(found.values_list(*_OF_SUMMARY, *packed()))
    return _read([row[:size] for row in rows], list(zip(*(row[size:] for row in rows), strict=True)))


def _read(keys: Sequence[Sequence[Any]], columns: Sequence[Sequence[bytes]]) -> list[Block]:
    """Blocks from the keys of groups and the packed columns of all of them, each read at once."""
    if not keys:
        return []
    read = [unpacked_all(name, groups) for name, groups in zip(COLUMNS, columns, strict=True)]
    size_of = sizes(columns[0])
    # In one order, so that who read what is the same to a byte at all settings at which it is the same.
    order = np.lexsort((read[2], read[1], read[0], np.repeat(np.arange(len(keys)), size_of)))
    read = [column[order] for column in read]
    blocks, start = [], 0
    for (model, revision, *setting), size in zip(keys, size_of, strict=True):
        mine = (column[start : start + size] for column in read)
        blocks.append(Block(model, UNKNOWN if revision is None else revision, Setting(*setting), *mine))
        start += size
    return blocks


def blocks_of(rows: Iterable[Mapping[str, Any]]) -> list[Block]:
    """Blocks of rows that are named as the columns of `summaries.summary_frame`; None is not known."""
    found: dict[tuple[Any, ...], list[Mapping[str, Any]]] = {}
    for row in rows:
        found.setdefault(tuple(row[name] for name in _OF_SUMMARY.values()), []).append(row)
    return [_of_rows(key, together) for key, together in found.items()]


def _of_rows(key: Sequence[Any], rows: Sequence[Mapping[str, Any]]) -> Block:
    model, revision, *setting = key
    columns: Iterable[Any] = (
        np.array(
            [UNDECLARED if row[name] is None else row[name] for row in rows],
            np.int64 if name in KEYS else np.float64,
        )
        for name in COLUMNS
    )
    return Block(model, UNKNOWN if revision is None else revision, Setting(*setting), *columns)


def by_setting(blocks: Iterable[Block]) -> dict[Setting, list[Block]]:
    """The blocks of each setting and metric."""
    found: dict[Setting, list[Block]] = {}
    for block in blocks:
        found.setdefault(block.setting, []).append(block)
    return found


def together(blocks: Sequence[Block], column: str) -> Any:
    """One column of several blocks."""
    columns = [getattr(block, column) for block in blocks]
    return columns[0] if len(columns) == 1 else np.concatenate(columns)


def typical(blocks: Sequence[Block]) -> float:
    """The median of unit means."""
    return float(np.median(unit_means(blocks)))


def unit_means(blocks: Sequence[Block]) -> Floats:
    """One mean a unit, each clinic and gauge that read it counting once."""
    unit = np.unique(together(blocks, "unit"), return_inverse=True)[1]
    means: Floats = np.bincount(unit, together(blocks, "mean")) / np.bincount(unit)
    return means


def distinct(blocks: Sequence[Block], column: str) -> set[int]:
    """What there is of units, clinics or gauges."""
    return set().union(*(getattr(block, column).tolist() for block in blocks))
