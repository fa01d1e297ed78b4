"""What is noted about how a trace goes on from its start to its end. Limits are common practice, no published
source, unless said.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from . import kernels
from .analyse import Analysis
from .condition import Signal
from .cycles import Crossings
from .findings import finding
from .order import median
from .types import Finding, Floats, Quantity

REACH, FEWEST = 6, 4  # cycles looked at on either side of a change; as many at least must lie there
OTHER_SETTING = 0.08  # of vacuum or of period: less is no other setting
FEW_SAMPLES = 12.0  # a cycle: with fewer, where they happen to lie moves a mean slowly to and fro
SURELY_OTHER = 0.25  # of vacuum, there
PEAK_CHANGE = 0.1  # of the peak, over the recording
RATE_CHANGE = 0.025  # of the rate, likewise
RESIDUAL_CHANGE = 8.0  # mmHg, likewise
GOES_ON = 0.4  # of the whole slope: a change that goes on keeps this much in its second half
SURE = 4.0  # standard errors
FEW_CYCLES = 8


@dataclass(frozen=True)
class Change:
    """From one level to another at an instant."""

    at_s: float
    before: float
    after: float
    unit: str

    def says(self) -> str:
        """In words."""
        return f"at {self.at_s:.0f} s from about {self.before:.0f} to about {self.after:.0f} {self.unit}"


def course_checks(
    signal: Signal, analysis: Analysis, crossings: Crossings, metrics: dict[str, Quantity]
) -> Iterator[Finding]:
    """Does the trace stay the same from its start to its end?"""
    if crossings.rise.size < FEW_CYCLES:
        return
    changes = sorted(setting_changes(signal, crossings), key=lambda change: change.at_s)
    if changes:
        told = ", ".join(change.says() for change in changes[:4])
        yield finding("two_settings", changes[0].at_s, changes=told)
    else:
        yield from _slow_changes(analysis, crossings, metrics)


def setting_changes(signal: Signal, crossings: Crossings) -> list[Change]:
    """Where vacuum or rate leaps to another level and stays there for some cycles."""
    course = kernels.course
    whole = np.isfinite(crossings.fall)
    rise, fall = np.ascontiguousarray(crossings.rise[whole]), np.ascontiguousarray(crossings.fall[whole])
    means = course.means_between(signal.seconds, signal.vacuum, rise, fall)
    coarse = crossings.period < FEW_SAMPLES * signal.step_s
    least = SURELY_OTHER if coarse else OTHER_SETTING
    found = [
        Change(float(rise[at]), before, after, "mmHg")
        for at, before, after in zip(*course.leaps(means, REACH, FEWEST, least), strict=True)
    ]
    pulse = crossings.rise if crossings.double else crossings.pulse
    between = np.diff(pulse)
    found.extend(
        Change(float(pulse[at]), 60 / before, 60 / after, "cycles/min")
        for at, before, after in zip(*course.leaps(between, REACH, FEWEST, OTHER_SETTING), strict=True)
    )
    return found


def _slow_changes(
    analysis: Analysis, crossings: Crossings, metrics: dict[str, Quantity]
) -> Iterator[Finding]:
    """A residual that changes is a leak or the gauge; rate or peak that fall alone are the battery's."""
    good = np.isfinite(analysis.peak)
    at = analysis.slots.start[good]
    if at.size < FEW_CYCLES:
        return
    minutes = float(at[-1] - at[0]) / 60
    residual = _change(at, analysis.residual[good])
    leaks = abs(residual[0]) > max(RESIDUAL_CHANGE, SURE * residual[1])
    if leaks:
        yield finding("leak", change=residual[0])
    drift, slower = metrics.get("peak_drift"), _slower(crossings)
    level = abs(median(analysis.peak[good] + analysis.shape.high.value))
    change = 0.0 if drift is None else drift.value * minutes
    drifts = drift is not None and abs(change) > max(PEAK_CHANGE * level, SURE * drift.u * minutes)
    weaker = drifts and change < 0 and not leaks and _goes_on(at, analysis.peak[good])
    if slower > 0 or weaker:
        rate, peak = f"the rate falls by {slower:.1%}", f"the peak falls by {-change:.0f} mmHg"
        yield finding("battery_falling", what=" and ".join([rate] * (slower > 0) + [peak] * weaker))
    elif drifts:
        yield finding("peak_drifts", change=change)


def _change(at: Floats, values: Floats) -> tuple[float, float]:
    """(change from the first to the last, its standard error) by a straight line through finite values."""
    slope, error = slope_of(at, values)
    return slope * float(at[-1] - at[0]), error * float(at[-1] - at[0])


def _slower(crossings: Crossings) -> float:
    """Share by which the rate falls over the recording, where it goes on falling; else 0."""
    between = np.diff(crossings.rise)
    usual = np.abs(between / median(between) - 1) < 0.25
    at, period = crossings.rise[:-1][usual], between[usual]
    if at.size < FEW_CYCLES:
        return 0.0
    longer, error = _change(at, period)
    share = longer / median(period)
    sure = share > max(RATE_CHANGE, SURE * error / median(period)) and _goes_on(at, period)
    return share if sure else 0.0


def _goes_on(at: Floats, values: Floats) -> bool:
    """Whether values change in their second half much as on the whole: a pump that settles does not."""
    half = at.size // 2
    whole, late = slope_of(at, values)[0], slope_of(at[half:], values[half:])[0]
    return whole != 0 and late / whole > GOES_ON


def slope_of(at: Floats, values: Floats) -> tuple[float, float]:
    """(slope, standard error) of a straight line through finite values; zeros for fewer than four."""
    fine = np.isfinite(values)
    at, values = at[fine], values[fine]
    if at.size < 4:
        return 0.0, 0.0
    return kernels.course.slope_of(at, values)
