"""Columns of summaries packed by the database into one value each, and read by numpy as they are."""

from collections.abc import Iterable, Mapping
from types import MappingProxyType
from typing import Any

import numpy as np
from django.db.models import Aggregate, BinaryField, FloatField
from django.db.models.functions import Cast, Coalesce

UNDECLARED = -1
KEYS = ("unit", "clinic", "gauge")
COLUMNS = (*KEYS, "runs", "mean", "squares", "random", "systematic")
# The head of a one-dimensional array: dimensions, flags, type, size, first index; each value has its length.
_HEAD, _EACH = 20, 12


class _Packed(Aggregate):
    """All values of a group in PostgreSQL's binary form of an array; none of them may be null."""

    template = "array_send(array_agg(%(expressions)s))"
    output_field = BinaryField()


_PACKED = MappingProxyType(
    {
        "unit": _Packed("unit_id"),
        "clinic": _Packed("clinic_id"),
        "gauge": _Packed(Coalesce("gauge_id", UNDECLARED)),
        "runs": _Packed(Cast("count", FloatField())),
        "mean": _Packed("mean"),
        "squares": _Packed("sum_squares"),
        "random": _Packed("u_random"),
        "systematic": _Packed("u_systematic"),
    }
)


def packed(columns: Iterable[str] = COLUMNS) -> Mapping[str, Aggregate]:
    """What to annotate a query on UnitSummary with; values of a group come in one order in all columns."""
    return {f"all_{name}": _PACKED[name] for name in columns}


def unpacked(name: str, values: bytes) -> Any:
    """One packed column as an array: whole numbers where the column holds keys."""
    return unpacked_all(name, [values])


def unpacked_all(name: str, groups: Iterable[bytes]) -> Any:
    """One packed column of several groups as one array, group after group."""
    return strung((memoryview(group)[_HEAD:] for group in groups), np.int64 if name in KEYS else np.float64)


def headless(array: str) -> str:
    """SQL for a column of arrays without their heads, for `string_agg` to string together."""
    return f"substring(array_send({array}) FROM {_HEAD + 1})"


def strung(parts: Iterable[bytes | memoryview], kind: type[np.int64 | np.float64]) -> Any:
    """Values of arrays without their heads, part after part; times (int64) are microseconds since 2000."""
    sent = np.dtype([("length", ">i4"), ("value", np.dtype(kind).newbyteorder(">"))])
    return np.frombuffer(b"".join(parts), sent)["value"].astype(kind)


def sizes(groups: Iterable[bytes]) -> list[int]:
    """How many values each group has, by one packed column."""
    return [(len(group) - _HEAD) // _EACH for group in groups]
