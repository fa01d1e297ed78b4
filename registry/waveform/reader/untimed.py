"""Tables without headings whose first column, which would be the times, turns out to be none."""

from dataclasses import replace

import numpy as np

from registry.waveform.types import AS_USUAL, ReadError

from .columns import Columns
from .layout import Layout
from .table import Stamps, Table

BACKWARD = 0.1  # of all steps: times of a damaged file go back now and then, those of a wave all the time


def with_times_or_none(table: Table, columns: Columns, layout: Layout) -> Columns:
    """The columns as chosen, or without times where a bare table's first column goes up and down.

    ReadError: ambiguous_columns where nothing says which column is meant then, rate_unknown without a rate.
    """
    if layout.names or columns.time_kind != "number" or not _wanders(table):
        return columns
    if columns.vacuum_basis not in {"declared", AS_USUAL}:
        names = ", ".join(f"column {at + 1}" for at, kind in enumerate(layout.kinds) if kind == "number")
        raise ReadError(
            "ambiguous_columns",
            f"The first column holds no times, so several could be the vacuum: {names}."[:400],
            layout.start_line,
            "Declare vacuum_column, the number of the column from 1, and rate_hz.",
        )
    if columns.rate_hz is None:
        raise ReadError(
            "rate_unknown",
            "The first column holds no times, and nothing says how often the gauge was read.",
            layout.start_line,
            "Declare rate_hz, the samples a second, or add a column of times.",
        )
    return replace(columns, time=None, time_kind="none", time_name=None, time_unit=None)


def _wanders(table: Table) -> bool:
    if table.time is None or isinstance(table.time, Stamps):
        return False
    steps = np.diff(np.asarray(table.time, dtype=np.float64))
    return steps.size > 0 and float(np.mean(steps < 0)) > BACKWARD
