"""Both sides of a double pump in one file, and how unlike they pull.

What the sides share cancels in a difference; what each has for itself does not:

* accuracy and resolution are limits of each channel's own sensor and are kept for both;
* the calibration is one correction for the whole gauge, so its uncertainty is shared and cancels;
* a zero declared for the gauge is taken off both sides and cancels; a zero found in the trace, or not known,
  is each sensor's own and is kept for both;
* the clock is one, so its error changes a difference by its share only;
* what is random is taken as independent. One motor drives both sides of many pumps, and its unevenness then
  cancels in truth, so the uncertainty stated is rather too large. So it is, for the phase, where both sides
  pull in one form: what a form hides from the sampling is then hidden on both.
"""

from dataclasses import replace
from math import hypot, sqrt

import numpy as np

from .editions import CURRENT_EDITION
from .measuring import measure_reading
from .reader import read_pair, read_sides
from .types import (
    NOTHING_DECLARED,
    Declared,
    Floats,
    GaugeSpec,
    Measured,
    Quantity,
    Reading,
    Sides,
)
from .uncertainty import CLOCK_LIMIT, few, lag_one, rectangular

COMPARED = ("cycle_rate", "peak_vacuum", "residual_vacuum", "mean_vacuum")
CLOCK = rectangular(CLOCK_LIMIT)
SHARED = frozenset({"calibration", "clock"})
# Loggers that take their channels in turn read one up to half an interval off the other's time: common
# practice, no published source.
SKEW = 0.5
TOGETHER = 0.5  # length of the mean of all lags as turns of a clock hand: less is no steady phase
FEWEST = 3  # cycles on each side
PLACED = 0.02  # of a sampling interval: how well the lag is placed between samples at best (by replay)


def measure_sides(
    data: bytes,
    *,
    gauge: GaugeSpec | None = None,
    declared: Declared = NOTHING_DECLARED,
    usual: Declared = NOTHING_DECLARED,
    edition: int = CURRENT_EDITION,
) -> Sides:
    """Measure both sides of a file that tells left from right; a declared side does not matter.

    Raises ReadError as `measure`, with sides_missing for a file that does not hold both, and KeyError for an
    unknown edition. Differences that one of the sides does not carry are left out.
    """
    return _measured(read_sides(data, declared, usual), gauge, (declared, declared), edition)


def measure_pair(
    data: bytes,
    *,
    gauge: GaugeSpec | None = None,
    declared: tuple[Declared, Declared],
    usual: tuple[Declared, Declared] = (NOTHING_DECLARED, NOTHING_DECLARED),
    edition: int = CURRENT_EDITION,
) -> Sides:
    """Measure both sides of a file by what was said for (left, right), as which column holds which.

    Raises ReadError as `measure`, with ambiguous_columns where both are one column, and KeyError for an
    unknown edition.
    """
    return _measured(read_pair(data, declared, usual), gauge, declared, edition)


def _measured(
    readings: tuple[Reading, Reading],
    gauge: GaugeSpec | None,
    declared: tuple[Declared, Declared],
    edition: int,
) -> Sides:
    left, right = (
        measure_reading(reading, gauge=gauge, declared=said, edition=edition)
        for reading, said in zip(readings, declared, strict=True)
    )
    return Sides(left, right, imbalance(left, right, readings))


def imbalance(left: Measured, right: Measured, readings: tuple[Reading, Reading]) -> dict[str, Quantity]:
    """Left less right of the compared metrics, and the phase."""
    one, two = left.understood, right.understood
    zero_shared = one.zero_basis == two.zero_basis == "declared" and one.zero_mmhg == two.zero_mmhg
    shared = SHARED | ({"zero"} if zero_shared else set())
    found = {
        name: _difference(left.metrics[name], right.metrics[name], shared)
        for name in COMPARED
        if name in left.metrics and name in right.metrics
    }
    lag = phase(left, right, readings)
    return found if lag is None else {**found, "phase": lag}


def _difference(left: Quantity, right: Quantity, shared: frozenset[str] | set[str]) -> Quantity:
    """Left less right: shared parts cancel, save for what they differ by; the others add in quadrature."""
    parts: dict[str, float] = {}
    for name in left.parts.keys() | right.parts.keys():
        one, two = left.parts.get(name, 0.0), right.parts.get(name, 0.0)
        parts[name] = abs(one - two) if name in shared else hypot(one, two)
    return Quantity.of(left.value - right.value, left.unit, parts)


def phase(left: Measured, right: Measured, readings: tuple[Reading, Reading]) -> Quantity | None:
    """Seconds from a rise of the left side to the next of the right, in (-T/2, T/2]; T is the mean period.

    Each rise is where the vacuum passes half the side's own swing. The mean is that of the lags laid around
    a circle of one period, so that lags about T/2 do not cancel. A logger may read its channels in turn: up
    to half an interval between them is allowed for, as a systematic part under "clock". None where either
    side has fewer than three good cycles, the sides keep no steady phase, or their clocks cannot be compared.
    """
    rises = [_good_rises(side) for side in (left, right)]
    apart = _clocks_apart(readings)
    rates = [side.metrics.get("cycle_rate") for side in (left, right)]
    if apart is None or min(len(rise) for rise in rises) < FEWEST or rates[0] is None or rates[1] is None:
        return None
    period = 120.0 / (rates[0].value + rates[1].value)
    lags = _lags(rises[0], rises[1] + apart, period)
    hand = np.exp(2j * np.pi * lags / period).mean()
    if abs(hand) < TOGETHER:
        return None
    mean = float(np.angle(hand)) * period / (2 * np.pi)
    off = _wrapped(lags - mean, period)
    found = Quantity.of(mean, "s", _phase_parts(off, mean, (left, right), readings))
    return replace(found, value=_turned(mean, period, found.u))


def _good_rises(side: Measured) -> Floats:
    good = np.array([not kind for kind in side.cycles.loss], dtype=bool)
    return np.asarray(side.cycles.start_s[good] + side.late_s)


def _lags(left: Floats, right: Floats, period: float) -> Floats:
    """From each left rise to the nearest right one, in s; none where that is a whole period away."""
    place = np.clip(np.searchsorted(right, left), 1, right.size - 1)
    before, after = right[place - 1] - left, right[place] - left
    near = np.where(np.abs(before) < np.abs(after), before, after)
    return np.asarray(near[np.abs(near) < period])


def _wrapped(seconds: Floats, period: float) -> Floats:
    return np.asarray((seconds + period / 2) % period - period / 2)


def _turned(lag: float, period: float, u: float) -> float:
    """The lag in (-T/2, T/2]: sides that alternate, as far as is known, are half a period apart."""
    return period / 2 if lag <= -period / 2 + u else lag


def _clocks_apart(readings: tuple[Reading, Reading]) -> float | None:
    """Seconds from the left channel's first sample to the right one's; None for clocks of two kinds."""
    left, right = (reading.understood for reading in readings)
    same_kind = left.clock == right.clock and (left.clock == "elapsed" or left.time_unit == right.time_unit)
    if left.time_column != right.time_column and not same_kind:
        return None
    apart = readings[1].origin_s - readings[0].origin_s
    lap = {"mm:ss": 3600.0, "hh:mm:ss": 43_200.0}.get(left.time_unit)
    return apart if lap is None else (apart + lap / 2) % lap - lap / 2


def _phase_parts(
    off: Floats, mean: float, sides: tuple[Measured, Measured], readings: tuple[Reading, Reading]
) -> dict[str, float]:
    """Scatter of the lags over cycles, where each common cycle passes half its swing, skew and clock.

    What noise does to single crossings shows in the scatter already.
    """
    alike = min(max(lag_one(off), 0.0), 0.9)
    grown = few(off.size) * (1 + alike) / (1 - alike)
    step = max(1.0 / max(reading.understood.rate_hz, 1e-9) for reading in readings)
    return {
        "scatter": sqrt(grown * float(off.var(ddof=1)) / off.size) if off.size > 1 else float("inf"),
        "sampling": hypot(*(side.u_late_s for side in sides), PLACED * step),
        "clock": hypot(rectangular(SKEW * step), abs(mean) * CLOCK),
    }
