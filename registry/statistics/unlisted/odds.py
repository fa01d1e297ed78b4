"""How many times likelier a step of the build, or a slope, makes what benches read."""

from dataclasses import replace

import numpy as np

from registry.statistics.mixed import Codes
from registry.statistics.robust import Floats
from registry.statistics.unlisted.leanings import SCALES_LIKELY, SIZES, Tracks, tracks_of
from registry.statistics.unlisted.rows import Rows

# How likely a step's size is, where there is one, either way alike: log-normal about what builds change by
# when it matters, 3.2 spreads (6.4 % of a rate, 16 mmHg), two in three within a factor of 1.65.
_MIDDLE, _FACTOR = 3.2, 0.5
_HALF = SIZES[1 : SIZES.size // 2 + 1]
_WEIGHT = np.gradient(np.log(_HALF)) * np.exp(-0.5 * (np.log(_HALF / _MIDDLE) / _FACTOR) ** 2)
_SIZES_LIKELY = np.log(np.concatenate([_WEIGHT, _WEIGHT]) / (2 * _WEIGHT.sum()))
# What the first and the last unit differ by, in usual spreads, where all changes little by little.
_SLOPES = np.array([2.0, 3.0, 4.0, 5.0, 6.5, 8.0, 10.0, 13.0, 17.0])
# Shares of a second kind of units, in no order, that are weighed against a step.
_SHARES = (0.2, 0.4, 0.6, 0.8)


class Odds:
    """Log likelihood ratios of a step after each unit but the last: `places`, over all sizes and scales.

    `clinics` are those that read, `jumped` is what jumps of a clinic's own benches explain.
    """

    def __init__(self, tracks: Tracks, table: int, units: int) -> None:
        self._tracks, self._own = tracks, np.flatnonzero(tracks.table_of == table)
        self._units = units
        self.clinics, self._clinic = np.unique(tracks.clinic[tracks.first[self._own]], return_inverse=True)
        self.jumped = np.bincount(self._clinic, tracks.jumped[self._own])
        scale = _scales(tracks, self._own)
        self._weight = (scale - log_sum(scale))[:, None] + _SIZES_LIKELY
        self._gained = _gained(tracks, self._own, units)
        self.places = self._over_sizes(self._gained)

    def gain(self, open_: np.ndarray) -> float:
        """The log likelihood ratio of a step: the mean over places, of which those not open count nothing."""
        return _mean(np.where(open_, self.places, -np.inf))

    def carriers(self, open_: np.ndarray, least: float) -> tuple[int, ...]:
        """The clinics without what any one of which read the ratio of a step is below `least`."""
        by_clinic = (
            _gained(self._tracks, self._own[self._clinic == place], self._units)
            for place in range(self.clinics.size)
        )
        without = [self._over_sizes(self._gained - one) for one in by_clinic]
        return tuple(
            int(clinic)
            for clinic, places in zip(self.clinics, without, strict=True)
            if _mean(np.where(open_, places, -np.inf)) < np.log(max(least, 1e-300))
        )

    def _over_sizes(self, gained: Floats) -> Floats:
        return log_sum((gained + self._weight).reshape(gained.shape[0], -1))


def slopes_gain(rows: Rows, jumps: float) -> float:
    """The log likelihood ratio of a slope along the order of units, of some size that matters."""
    position = np.linspace(-0.5, 0.5, rows.units)[rows.unit] * rows.spread
    slopes = [0.0, *_SLOPES, *-_SLOPES]
    straight = [replace(rows, value=rows.value - slope * position) for slope in slopes]
    return _gain_over_first(tracks_of(straight, [jumps] * len(slopes)), len(slopes))


def kinds_gain(rows: Rows, jumps: float, size: float) -> float:
    """The log likelihood ratio of two kinds of units in no order that differ by `size`."""
    kinds = [(0.0, 0.0), *((share, size / rows.spread) for share in _SHARES)]
    return _gain_over_first(tracks_of([rows] * len(kinds), [jumps] * len(kinds), kinds), len(kinds))


def _gain_over_first(tracks: Tracks, tables: int) -> float:
    """How many times likelier tables are on average than the first, none with a step."""
    own = [np.flatnonzero(tracks.table_of == place) for place in range(tables)]
    found = np.array([float(log_sum(_scales(tracks, one))) for one in own])
    return _mean(found[1:]) - float(found[0])


def _scales(tracks: Tracks, own: Codes) -> Floats:
    """How likely tracks are without a step, by scale and with what is believed of it."""
    found: Floats = np.log(SCALES_LIKELY) + tracks.table[tracks.first[own], :, 0].sum(axis=0)
    return found


def _gained(tracks: Tracks, own: Codes, units: int) -> Floats:
    """What a step after each unit but the last gains in some tracks: by place, scale and size."""
    first, length = tracks.first[own], tracks.length[own]
    begins = np.cumsum(length) - length
    rows = np.arange(length.sum()) + np.repeat(first - begins, length)
    gained = tracks.table[rows, :, 1:] - np.repeat(tracks.table[first, :, :1], length, axis=0)
    # A step gains the same anywhere between two readings, nothing before the first or after the last: so
    # gains change by unit, and a sum along the units makes them of the changes.
    after = np.append(gained[1:], np.zeros_like(gained[:1]), axis=0)
    after[begins + length - 1] = 0.0
    change = np.zeros((units, *gained.shape[1:]))
    np.add.at(change, tracks.unit[rows], after - gained)
    found: Floats = np.cumsum(change, axis=0)[:-1]
    return found


def log_sum(logs: Floats) -> Floats:
    """The log of the sum of what has these logs, over the last axis."""
    top = logs.max(axis=-1, keepdims=True)
    top = np.where(np.isfinite(top), top, 0.0)
    with np.errstate(divide="ignore"):
        found: Floats = np.log(np.exp(logs - top).sum(axis=-1)) + top[..., 0]
    return found


def _mean(logs: Floats) -> float:
    return float(log_sum(logs) - np.log(logs.size))
