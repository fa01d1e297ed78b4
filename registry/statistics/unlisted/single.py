"""What single clinics and units explain: a gauge or a rig changed, or units are wild, and no build did."""

import numpy as np

from registry.statistics.robust import Floats
from registry.statistics.unlisted.change import Fitted, change_between
from registry.statistics.unlisted.limits import LIMITS, Limits
from registry.statistics.unlisted.rows import Rows
from registry.statistics.unlisted.within import Within

# More units than these are not left out in turn: those further from the fit weigh more.
_LEFT_OUT = 12


def hangs_on_a_unit(rows: Rows, over: Floats, whole: Fitted, limits: Limits = LIMITS) -> bool:
    """Whether the change of `rows`, as they were read, is another one without some single unit.

    Which readings count as wild is decided anew without it: a few wild units make a change that flickers.
    """
    lean = Within(whole.rows).leans(over, whole.change.size)
    far = np.abs(rows.value - lean[rows.bench] - whole.change.size * over[rows.unit])
    first = rows.unit[np.argsort(-far, kind="stable")]
    units = first[np.sort(np.unique(first, return_index=True)[1])][:_LEFT_OUT]
    return any(not _is_alike(rows.kept(rows.unit != unit), over, whole, limits) for unit in units)


def _is_alike(rows: Rows, over: Floats, whole: Fitted, limits: Limits) -> bool:
    again = change_between(rows, over, limits)
    if again is None or again.change.size * whole.change.size <= 0:
        return False
    return (
        again.change.p <= limits.without_one
        and again.change.own_side >= limits.own_side_without_one
        and abs(again.change.size) >= limits.kept * abs(whole.change.size)
    )


def is_one_clinics(rows: Rows, over: Floats, limits: Limits = LIMITS) -> bool:
    """Whether a step in what one clinic reads explains about as much as the change of units over `over`.

    The step may lie after any of the clinic's own units, in the order of units. One clinic's change drags
    along whatever the others happen to show near its place; a build's is seen by all and explains more.
    """
    within = Within(rows)
    effect = within.effect(over)
    most = max((gain_of_own_step(within, clinic) for clinic in np.unique(rows.clinic)), default=0.0)
    return most > effect.size**2 * effect.information - limits.one_clinic


def gain_of_own_step(within: Within, clinic: int) -> float:
    """What the best step in one clinic's own readings takes off the weighted squares; nought for one unit."""
    rows = within.rows
    own = np.flatnonzero(rows.clinic == clinic)
    places = np.unique(rows.unit[own])[1:]
    if not places.size:
        return 0.0
    later = (rows.unit[own][:, None] >= places).astype(float)
    score, information = within.slopes_of(own, later)
    told = information > 1e-9 * within.rows.spread**-2
    return float((score[told] ** 2 / information[told]).max()) if told.any() else 0.0
