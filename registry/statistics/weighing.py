"""How much each row counts in a centre, so that no clinic carries it by its own word or by how far it reads.

Generalised least squares weighs a clinic by what its gauges declare. So one that declares next to nothing
would have the centre to itself, whether its word is good or not, and one that reads far off would have its
whole share. Hence two bounds:

* Beside the others no clinic counts as more certain than these bear out (`borne_out`). Key comparisons of
  metrology institutes cut weights off likewise, at the mean of what the better half declares (CCPR-G2; from
  memory). Here one clinic must not be its own witness, and one coarse gauge must not make others coarse.
* A clinic further off than it may be by chance counts for less, as in ISO 13528's Algorithm A: what is beyond
  1.5 times the robust scale is cut off. The scale is that about the median and is not iterated, so that it
  breaks down only where half of the clinics are off; it is never below what a clinic declares, as far as that
  is borne out, and what its units and runs scatter by.
"""

import numpy as np

from registry.statistics.robust import MAD_TO_SD, PULL, Floats
from registry.statistics.stacks import Codes, Stack, middle, weights_of

# The share of the variance that others declare which a clinic's own word cannot take off. With a half an
# honest gauge of high class still helps, and intervals of two or three clinics hold where it only says so.
_OWN_WORD = 0.5
_ENOUGH_CLINICS = 3
# By how much the median absolute deviation of few values falls short: Croux and Rousseeuw, COMPSTAT 1992
# (from memory; held against simulated samples).
_SHORT = {3: 1.495, 4: 1.363, 5: 1.206, 6: 1.200, 7: 1.140, 8: 1.129, 9: 1.107}
_HAIR = 1e-12


def borne_out(gauges: Floats) -> Floats:
    """Variances of clinics' gauges, none below half of what half of the clinics do not fall short of.

    `gauges` has a row a table and a column a clinic, and holds what gauges declare. Of an even number it is
    the larger of the two in the middle, so that the most certain of two clinics is not its own witness.
    """
    clinics = gauges.shape[1]
    middling = np.sort(gauges, axis=1)[:, clinics // 2, None]
    found: Floats = np.maximum(gauges, _OWN_WORD * middling)
    return found


def weigh(stack: Stack, unit: Floats, clinic: Floats, gauges: Floats) -> Floats:
    """The weight of each row in the mean of its table; weights add up to one.

    `unit` is the variance between units, one a table; `clinic` the one that a clinic counts with, and
    `gauges` what of that its gauges declare, as far as it is borne out: one a table and clinic.
    """
    # A unit seen at several clinics can get a weight below nought, which would let the centre lie outside
    # everything measured. Without such weights little is lost, and the variance is that of the weights used.
    kept = np.maximum(weights_of(stack, unit, clinic), 0.0)
    if clinic.shape[1] >= _ENOUGH_CLINICS:
        kept = kept * _pulled(stack, kept, unit, gauges)[:, stack.clinic]
    weights: Floats = kept / kept.sum(axis=1, keepdims=True)
    return weights


def carries(clinic: Codes, weights: Floats) -> bool:
    """Whether a mean rests on two clinics, or on one of several for more than half.

    Then a gauge that reads wrong there takes the mean along, since the others do not outweigh it. `weights`
    add up to one; they and the codes of clinics have a value a row.
    """
    shares = np.bincount(clinic, weights)
    return shares.size == 2 or bool(shares.size > 2 and shares.max() > 1 / 2 + _HAIR)


def _pulled(stack: Stack, weights: Floats, unit: Floats, gauges: Floats) -> Floats:
    """What is left of each clinic's weight once what lies too far off is cut off: from 0 to 1."""
    size = stack.by_clinic.size
    share = stack.by_clinic(weights)
    total = stack.by_clinic(weights * stack.mean)
    centre = total.sum(axis=1, keepdims=True) / share.sum(axis=1, keepdims=True)
    # A clinic without weight pulls at nothing, wherever it stands.
    mean = (
        total / share if share.all() else np.where(share > 0, total, centre) / np.where(share > 0, share, 1)
    )
    # Not the variance between clinics of the weights: a wild one would widen its own limit.
    spread = np.sqrt(gauges + unit[:, None] / size + stack.by_clinic(stack.doubt) / size**2)
    seen = to_sd(size.size) * middle(np.abs(mean - middle(mean)))
    # A hair, so that clinics that agree to the last digit and declare nothing have a limit as well.
    limit = PULL * np.maximum(spread, np.maximum(seen, _HAIR * np.maximum(np.abs(centre), 1.0)))
    left = np.ones_like(mean)
    some = np.flatnonzero((np.abs(mean - centre) > limit).any(axis=1))
    if some.size:
        mean, share, limit = mean[some], share[some], limit[some]
        left[some] = limit / np.maximum(np.abs(mean - _centre(mean, share, limit)), limit)
    return left


def to_sd(size: int) -> float:
    """What makes a standard deviation of the median absolute deviation of so many values."""
    return MAD_TO_SD * (_SHORT[size] if size in _SHORT else size / (size - 0.8))


def _centre(mean: Floats, share: Floats, limit: Floats) -> Floats:
    """Where the deviations of clinics, each cut off at its limit, balance: Huber's M-estimate, one a table.

    Their sum falls with the centre, in straight pieces between the places at which a clinic is cut off; so
    it is found piece by piece, without iterating.
    """
    places = np.concatenate([mean - limit, mean + limit], axis=1)
    order = np.argsort(places, axis=1)
    places = np.take_along_axis(places, order, axis=1)
    slopes = np.cumsum(np.take_along_axis(np.concatenate([share, -share], axis=1), order, axis=1), axis=1)
    pull = np.sum(share * limit, axis=1, keepdims=True)
    falls = np.cumsum(slopes[:, :-1] * np.diff(places, axis=1), axis=1)
    at = np.argmax(falls >= pull * (1 - _HAIR), axis=1)[:, None]
    slope = np.take_along_axis(slopes, at, axis=1)
    left = np.take_along_axis(falls, at, axis=1) - pull
    found: Floats = np.take_along_axis(places, at + 1, axis=1) - left / slope
    return found
