"""A run's single cycles as they are kept: a list for each quantity, and rows of them for who asks."""

from collections.abc import Mapping
from dataclasses import fields
from math import isnan
from typing import Any

import numpy as np

from registry.waveform import CycleTable

Columns = dict[str, list[Any]]
# Seconds to the microsecond, mmHg to the millionth: far below any bench, and a third of the digits.
_DECIMALS = 6


def columns_of(table: CycleTable) -> Columns:
    """Return the table as lists by name, ready for JSON; null where a cycle has no such value."""
    return {field.name: _column(getattr(table, field.name)) for field in fields(table)}


def _column(values: Any) -> list[Any]:
    if isinstance(values, np.ndarray) and values.dtype.kind == "f":
        return [None if isnan(value) else value for value in values.round(_DECIMALS).tolist()]
    if isinstance(values, np.ndarray):
        return list(values.tolist())
    return [value or None for value in values]


def rows_of(columns: Mapping[str, list[Any]], first: int, most: int) -> list[dict[str, Any]]:
    """Return cycles from place `first` (0 is the first cycle), `most` of them at most, numbered from 1."""
    cut = slice(first, first + most)
    names = list(columns)
    cycles = zip(*(columns[name][cut] for name in names), strict=True)
    return [
        {"number": number, **dict(zip(names, cycle, strict=True))}
        for number, cycle in enumerate(cycles, start=first + 1)
    ]


def count_of(columns: Mapping[str, list[Any]]) -> int:
    """Return how many cycles there are."""
    return len(next(iter(columns.values()), ()))
