"""What goes into and comes out of a measurement: plain frozen records, no behaviour beyond arithmetic.

Vacuum is positive, in mmHg below ambient. Times are seconds from the first sample.
"""

from dataclasses import asdict, dataclass, field
from math import hypot, isnan
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Severity = Literal["note", "caution", "hold"]
LossKind = Literal["", "collapsed", "weak", "missing"]


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
    """What the uploader says about the file where the file itself does not.

    `zero_offset_mmhg` is the gauge's reading at open air, in mmHg, with the sign the gauge shows.
    """

    zero_offset_mmhg: float | None = None
    rate_hz: float | None = None
    unit: str | None = None


NOTHING_DECLARED = Declared()


@dataclass(frozen=True)
class Understood:
    """How a trace was read, for a person to check at a glance."""

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

    def as_dict(self) -> dict[str, str | float | int | None]:
        """All fields, ready for JSON."""
        return asdict(self)


@dataclass(frozen=True, eq=False)
class Reading:
    """A trace in common terms: `seconds` strictly rising from 0, `vacuum` in mmHg below ambient.

    `vacuum` is NaN where the file has no number; `over_range` marks the NaN that stand for a gauge's
    over-range word. No zero is taken yet, and no calibration is applied. `shown_sign` is +1 where the file
    itself counts vacuum as positive, else -1.
    """

    seconds: Floats
    vacuum: Floats
    over_range: Flags
    understood: Understood
    shown_sign: int = 1
    notes: tuple["Finding", ...] = ()


@dataclass(frozen=True)
class Quantity:
    """A measured value with its standard uncertainty, whole and in two parts.

    `u_random` shrinks when runs are averaged; `u_systematic` is shared by all runs on one gauge.
    """

    value: float
    unit: str
    u: float
    u_random: float
    u_systematic: float

    @classmethod
    def of(cls, value: float, unit: str, u_random: float, u_systematic: float) -> "Quantity":
        """Build with the combined uncertainty u = hypot(random, systematic) (JCGM 100, 5.1.2)."""
        return cls(float(value), unit, hypot(u_random, u_systematic), float(u_random), float(u_systematic))


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
    """The outcome of `measure`: metrics that could be computed, and what was noted on the way."""

    edition: int
    metrics: dict[str, Quantity]
    findings: tuple[Finding, ...]
    understood: Understood
    cycles: CycleTable
    holds: bool = field(default=False)
