"""Where cycles begin and turn: the repeating period, and crossings of mid-reference with hysteresis.

The levels that hysteresis works against follow the trace slowly (a running median over seven periods), so
that a drift is followed and a lost cycle is not. Terms as in IEC 60469 / IEEE 181.
"""

from dataclasses import dataclass

import numpy as np

from . import kernels
from .order import median
from .types import Floats

SHORTEST_S, LONGEST_S = 0.2, 8.0
GRID_HZ = 40.0


@dataclass(frozen=True, eq=False)
class Crossings:
    """Mid-reference crossings of a trace in seconds: each `rise` is followed by its `fall`.

    The last fall is NaN where the trace ends above mid-reference. `period` is the repeating period, `low`
    and `high` the median levels that hysteresis worked against. `pulse` has the rise of every pulse, also of
    those joined to one cycle; `double` says that each cycle has several.
    """

    rise: Floats
    fall: Floats
    period: float
    low: float
    high: float
    double: bool
    pulse: Floats


def repeating_period(vacuum: Floats, step_s: float) -> float | None:
    """Seconds after which the trace is most like itself, or None when it does not repeat.

    The first peak of the autocorrelation that is nearly as high as the best one, so that a pattern of several
    pulses counts as one and a multiple of the period does not.
    """
    thin = min(max(1, int(1.0 / (step_s * GRID_HZ))), vacuum.size)
    grid = kernels.crossings.thinned(vacuum, thin)
    step = step_s * thin
    furthest = min(int(LONGEST_S / step), grid.size * 2 // 3)
    if furthest < 4:
        return None
    lag = kernels.crossings.likeliest_lag(_products(grid, furthest), grid.size, SHORTEST_S / step)
    return step * lag if lag > 0 else None


def _products(grid: Floats, furthest: int) -> Floats:
    """Sums of products of a series with itself at lags 0..furthest, by way of its spectrum."""
    size = _quick_length(grid.size + furthest + 1)
    spectrum = np.fft.rfft(grid, size)
    power = spectrum.real**2 + spectrum.imag**2
    return np.fft.irfft(power, size)[: furthest + 1]


def _quick_length(least: int) -> int:
    """The shortest length from `least` on that is a power of two times 1, 9, 5, 3 or 15: quick."""
    return min(factor << max(-(-least // factor) - 1, 0).bit_length() for factor in (1, 9, 5, 3, 15))


def find_crossings(seconds: Floats, vacuum: Floats, bounds: tuple[float, float, float]) -> Crossings | None:
    """Mid-reference crossings, or None where nothing repeats. `bounds` is (arm, mid, fire) of the swing.

    A rise needs the vacuum to pass from below `arm` to above `fire`,
    so a flutter on the plateau or on the rest makes no cycle.
    """
    step = float(seconds[-1] - seconds[0]) / max(seconds.size - 1, 1)
    period = repeating_period(vacuum, step) if seconds.size >= 8 else None
    if period is None:
        return None
    found = kernels.crossings
    low, high = found.levels(vacuum, period / step)
    share = found.share_of_swing(vacuum, low, high, period / step)
    rise, fall = found.paired(*found.passes(seconds, share, *bounds))
    if rise.size == 0:
        return None
    period, double = found.beat(rise, period)
    pulse = rise
    rise, fall = found.one_a_period(rise, fall, period, double)
    return Crossings(rise, fall, period, median(low), median(high), double, pulse)
