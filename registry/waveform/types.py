"""What goes into and comes out of a measurement: plain frozen records, no behaviour beyond arithmetic.

Vacuum is positive, in mmHg below ambient. Times are seconds from the first sample.
"""

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from math import hypot, isnan
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Severity = Literal["note", "caution", "hold"]
LossKind = Literal["", "collapsed", "weak", "missing"]
Side = Literal["single", "left", "right"]
Counts = Literal["positive", "negative", "absolute"]
# Parts of an uncertainty. The next run draws the random ones anew; the others stay with the gauge.
RANDOM_PARTS = ("sampling", "scatter")
SYSTEMATIC_PARTS = ("accuracy", "resolution", "calibration", "zero", "clock")
SMALLEST_PART = 1e-9  # of the whole: less is left out
AS_USUAL = "as usual for this gauge"


class ReadError(ValueError):
    """A trace that is refused. `code` is stable; `message` says what is wrong, `hint` what to do.

    `line` counts from 1 in the file as it was sent, or is None where no single line is at fault.
    """

    def __init__(self, code: str, message: str, line: int | None = None, hint: str = "") -> None:
        super().__init__(message)
        self.code = code
        self.message = message
        self.line = line
        self.hint = hint

    def __reduce__(self) -> tuple[type["ReadError"], tuple[str, str, int | None, str]]:
        """Survive pickling, so that a refusal crosses a process boundary whole."""
        return type(self), (self.code, self.message, self.line, self.hint)


@dataclass(frozen=True)
class GaugeSpec:
    """What is declared about a gauge, all in mmHg of vacuum.

    The accuracy limit at a reading v is `accuracy_mmhg + accuracy_fraction * |v|` (half-width). The
    calibration maps the zeroed reading to vacuum: `calibration_gain * v + calibration_offset_mmhg`, with
    standard uncertainty `calibration_u_mmhg`.
    """

    range_low_mmhg: float
    range_high_mmhg: float
    resolution_mmhg: float
    accuracy_mmhg: float
    accuracy_fraction: float = 0.0
    calibration_gain: float = 1.0
    calibration_offset_mmhg: float = 0.0
    calibration_u_mmhg: float = 0.0


@dataclass(frozen=True)
class Declared:
    """What the uploader says about the file, or (as `usual`) what is usual for the gauge.

    `zero_offset_mmhg` is the gauge's reading at open air, in mmHg, with the sign the gauge shows. Columns are
    named by their heading (capitals and blanks do not count) or by their number from 1. `sign` says how the
    file counts: vacuum as positive numbers, as negative ones, or absolute pressure. `side` is the side of the
    pump that is wanted. Values are checked by `read`.
    """

    zero_offset_mmhg: float | None = None
    rate_hz: float | None = None
    unit: str | None = None
    time_unit: str | None = None
    time_column: str | None = None
    vacuum_column: str | None = None
    sign: str | None = None
    side: str | None = None


NOTHING_DECLARED = Declared()

KEPT = frozenset({"header", "unit row", "declared", AS_USUAL})  # where a time unit worth keeping was found


@dataclass(frozen=True)
class Channel:
    """A column of vacuum in a file: the side it was measured on, its heading, its unit."""

    side: Side
    column: str
    unit: str


@dataclass(frozen=True)
class Understood:
    """How a trace was read, for a person to check at a glance.

    Each `..._basis` says where something was found: in the file (header, unit row, preamble, values), in the
    declaration, or as usual for this gauge. `counts` is the file's sign, None where it was only assumed.
    """

    encoding: str
    compression: str
    delimiter: str
    decimal: str
    header_line: int | None
    time_column: str | None
    time_unit: str
    clock: str
    started_at: str | None
    vacuum_column: str
    vacuum_unit: str
    unit_basis: str
    sign: str
    rate_hz: float
    samples: int
    duration_s: float
    zero_mmhg: float = 0.0
    zero_basis: str = "unknown"
    side: Side = "single"
    vacuum_column_basis: str = "header"
    time_unit_basis: str = "header"
    rate_basis: str = "times"
    counts: Counts | None = None
    sign_basis: str = "values"

    def as_dict(self) -> dict[str, str | float | int | None]:
        """All fields, ready for JSON."""
        return asdict(self)

    def as_usual(self) -> Declared:
        """What to keep for the gauge, so that its next file needs no declaration.

        Zero and side belong to a sitting and are not kept. A column that was chosen by its side is not kept
        either, so that what is kept serves both sides; nor is a sign or a unit that was only assumed.
        """
        timed = self.rate_basis == "times"
        named = self.vacuum_column_basis != "side"
        numbered = self.header_line is None
        return Declared(
            rate_hz=None if timed else self.rate_hz,
            unit=self.vacuum_unit,
            time_unit=self.time_unit if self.time_unit_basis in KEPT and timed else None,
            time_column=self.time_column if named and timed else None,
            vacuum_column=self.vacuum_column.removeprefix("column " if numbered else "") if named else None,
            sign=self.counts,
        )


@dataclass(frozen=True, eq=False)
class Reading:
    """A trace in common terms: `seconds` strictly rising from 0, `vacuum` in mmHg below ambient.

    `vacuum` is NaN where the file has no number; `over_range` marks the NaN that stand for a gauge's
    over-range word. No zero is taken yet, and no calibration is applied. `shown_sign` is +1 where the file
    itself counts vacuum as positive, else -1. `origin_s` is the first sample's time on the file's own clock.
    """

    seconds: Floats
    vacuum: Floats
    over_range: Flags
    understood: Understood
    shown_sign: int = 1
    notes: tuple["Finding", ...] = ()
    origin_s: float = 0.0


@dataclass(frozen=True)
class Quantity:
    """A measured value with its standard uncertainty: whole, in two halves and in parts.

    `u_random` shrinks when runs are averaged; `u_systematic` is shared by all runs on one gauge. `parts` says
    what each is made of, by the names in `RANDOM_PARTS` and `SYSTEMATIC_PARTS`; what is next to nothing is
    left out. The halves are the root sums of squares of their parts, and `u` that of both (JCGM 100, 5.1.2).
    """

    value: float
    unit: str
    u: float
    u_random: float
    u_systematic: float
    parts: Mapping[str, float] = field(default_factory=dict, hash=False)

    @classmethod
    def of(cls, value: float, unit: str, parts: Mapping[str, float]) -> "Quantity":
        """Build from standard uncertainties by part, in the value's unit; ValueError for an unknown part."""
        least = SMALLEST_PART * hypot(*parts.values())
        kept: dict[str, float] = {}
        halves = [0.0, 0.0]
        for name, u in parts.items():
            if name not in RANDOM_PARTS and name not in SYSTEMATIC_PARTS:
                raise ValueError(f"no such part of an uncertainty: {name!r}")
            if u != 0 and not u < least:
                kept[name] = float(u)
                half = name in SYSTEMATIC_PARTS
                halves[half] = hypot(halves[half], u)
        return cls(float(value), unit, hypot(*halves), halves[0], halves[1], kept)


@dataclass(frozen=True)
class Finding:
    """Something the server noted about a trace; the codes are listed in `findings.CATALOGUE`."""

    code: str
    severity: Severity
    message: str
    hint: str
    at_s: float | None = None


@dataclass(frozen=True, eq=False)
class CycleTable:
    """One entry a cycle, in order of time. Loss events that never became a cycle have NaN where unknown."""

    start_s: Floats
    period_s: Floats
    peak_mmhg: Floats
    residual_mmhg: Floats
    duty: Floats
    loss: tuple[LossKind, ...]

    def __len__(self) -> int:
        return len(self.loss)

    def as_rows(self) -> list[dict[str, Any]]:
        """Cycles as JSON-able rows, None for what is unknown."""
        names = ("start_s", "period_s", "peak_mmhg", "residual_mmhg", "duty")
        columns = [getattr(self, name).tolist() for name in names]
        return [
            {name: (None if isnan(value) else value) for name, value in zip(names, row, strict=True)}
            | {"loss": kind or None}
            for *row, kind in zip(*columns, self.loss, strict=True)
        ]


@dataclass(frozen=True, eq=False)
class Measured:
    """The outcome of `measure`: metrics that could be computed, and what was noted on the way.

    The starts of cycles keep step with each other; `late_s` is how long after them the common cycle passes
    mid-reference between its own levels, `u_late_s` the standard error of that.
    """

    edition: int
    metrics: dict[str, Quantity]
    findings: tuple[Finding, ...]
    understood: Understood
    cycles: CycleTable
    holds: bool = field(default=False)
    late_s: float = 0.0
    u_late_s: float = 0.0


@dataclass(frozen=True, eq=False)
class Sides:
    """Both sides of a double pump from one file.

    `imbalance` is left less right of cycle_rate, peak_vacuum, residual_vacuum and mean_vacuum, and `phase`:
    seconds that the right side pulls after the left, within half a period; 0 is together.
    """

    left: Measured
    right: Measured
    imbalance: dict[str, Quantity]
