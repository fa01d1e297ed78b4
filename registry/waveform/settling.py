"""When a pump that builds up, or dies down, has come to its final peak."""

from math import hypot, sqrt

import numpy as np

from .order import dot, median, running_median
from .types import Floats
from .uncertainty import few, rectangular

WIDTH = 5  # cycles over which single ones are evened out
MEDIAN_OF_FIVE = 0.536  # standard deviation of a median of five over that of one, normal scatter (simulated)
WITHOUT_OWN = 0.72  # likewise of the distance to the median of five that holds the value itself
NEAR = (0.3, 2.0)  # of the rough time: the stretch over which the approach is fitted
HIDDEN = 0.5  # of what is clear: a stretch this much nearer the band may lie outside unseen
FINEST = 0.1  # of a period: better than that the course between cycles is not known
CLEAR = 4.0  # standard deviations beyond the band: less is scatter
FINAL_SHARE = 4  # the last quarter of the cycles shows the final peak


def evened(values: Floats) -> Floats:
    """Running median over five, turned about the ends so that a steady rise stays as it is."""
    half = WIDTH // 2
    if values.size < WIDTH:
        return values
    before = 2 * values[0] - values[half:0:-1]
    after = 2 * values[-1] - values[-2 : -half - 2 : -1]
    return running_median(np.concatenate([before, values, after]), WIDTH)[half:-half]


def settling(start: Floats, peak: Floats, period: float, within: float) -> tuple[float, float]:
    """(seconds from the first cycle until peaks stay within a share of the final one, standard error).

    The final peak is the median of the last quarter. Peaks evened out over five cycles show the last stretch
    outside; it counts only if somewhere it is clear of the band by more than cycles scatter. About its end
    the approach is taken as exponential, which places it between cycles and evens out their scatter.
    """
    late, last = peak[peak.size // 2 :], peak[-max(peak.size // FINAL_SHARE, 3) :]
    final = median(last)
    single = 1.4826 * median(np.abs(late - running_median(late, WIDTH))) / WITHOUT_OWN
    band = within * abs(final)
    excess = np.abs(evened(peak) - final) - band
    clear = np.full(peak.size, MEDIAN_OF_FIVE * single * CLEAR)
    clear[0] = single * CLEAR
    until = _last_clear(excess, clear)
    since = start - start[0]
    if until == 0:
        hidden = int(np.argmax(np.append(excess + HIDDEN * clear < 0, True)))
        return 0.0, hypot(rectangular(period / 2), float(since[min(hidden, since.size - 1)]) / 2)
    rough = float(since[min(until, since.size - 1)])
    lack = np.sign(final - peak[: max(until, 1)].mean()) * (final - peak)
    near = (since >= NEAR[0] * rough) & (since <= max(NEAR[1] * rough, since[min(until + 2, since.size - 1)]))
    value, error = _approach(since[near], lack[near], band, rough, (single, 1.25 * single / sqrt(last.size)))
    limit = float(since[-1])
    return min(max(value, 0.0), limit), min(hypot(error, FINEST * period), limit)


def _approach(
    since: Floats, lack: Floats, band: float, rough: float, errors: tuple[float, float]
) -> tuple[float, float]:
    """(when lack = a exp(-t / tau), fitted by least squares, falls to `band`; its standard error).

    `errors` are those of one value and of the level all are counted from. (rough, half of it) where the
    values do not fall.
    """
    taus = np.geomspace(0.05, 20.0, 120) * max(rough, 1e-9)
    shape = np.exp(-since / taus[:, None])
    power = np.einsum("kt,kt->k", shape, shape)
    first = shape @ lack / power
    left = dot(lack, lack) - first**2 * power
    best = int(np.argmin(left))
    a, tau = float(first[best]), float(taus[best])
    if a <= band or best in {0, taus.size - 1}:
        return rough, rough / 2
    slopes = np.stack([shape[best], a * since / tau**2 * shape[best]])
    freedom = max(since.size - 2, 1)
    spread = max(sqrt(max(float(left[best]), 0.0) / freedom), errors[0]) * sqrt(few(since.size))
    covariance = spread**2 * np.linalg.pinv(slopes @ slopes.T)
    growth = np.array([tau / a, np.log(a / band)])
    fitted = sqrt(max(float(growth @ covariance @ growth), 0.0))
    return tau * float(growth[1]), hypot(fitted, errors[1] * tau / band)


def _last_clear(excess: Floats, clear: Floats) -> int:
    """One more than the last cycle of the last stretch outside the band that is clear of it; 0 for none."""
    outside = np.concatenate([[False], excess > 0, [False]]).astype(int)
    first, end = np.flatnonzero(np.diff(outside) == 1), np.flatnonzero(np.diff(outside) == -1)
    for one, two in zip(first[::-1], end[::-1], strict=True):
        if np.any(excess[one:two] > clear[one:two]):
            return int(two)
    return 0
