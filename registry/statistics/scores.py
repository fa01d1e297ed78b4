"""How far a laboratory reads from an assigned value: the performance scores of ISO 13528:2022, clause 9.

The standard was not opened; formulae are from memory and reproduce its printed Annex E.4. All inputs share
one unit; scores have none. Everything broadcasts: one laboratory against one value, or arrays against arrays.
NaN goes through to the score it belongs to.
"""

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from registry.statistics.robust import Floats

# ISO 13528: beyond 2 a warning, from 3 on a signal to act; for E_n from 1 on.
WARNING, ACTION, EN_ACTION = 2.0, 3.0, 1.0
# The uncertainty of the assigned value may be left out below this share of sigma_pt (ISO 13528, 9.2).
NEGLIGIBLE = 0.3
Mark = Literal["acceptable", "warning", "action"]


def z_scores(values: ArrayLike, assigned: ArrayLike, sigma: ArrayLike) -> Floats:
    """z = (x - x_pt) / sigma_pt.

    `sigma` is the standard deviation set for the assessment, above nought (ValueError). Serves where the
    assigned value's own uncertainty is `negligible`, else see `z_prime_scores`. Source: ISO 13528, 9.4.
    """
    return _scored(values, assigned, _above_nought(sigma, "sigma"))


def z_prime_scores(values: ArrayLike, assigned: ArrayLike, sigma: ArrayLike, u_assigned: ArrayLike) -> Floats:
    """z' = (x - x_pt) / sqrt(sigma_pt² + u²(x_pt)), u a standard uncertainty. Source: ISO 13528, 9.5."""
    return _scored(values, assigned, np.hypot(_above_nought(sigma, "sigma"), _not_below(u_assigned)))


def zeta_scores(values: ArrayLike, assigned: ArrayLike, u: ArrayLike, u_assigned: ArrayLike) -> Floats:
    """zeta = (x - x_pt) / sqrt(u²(x) + u²(x_pt)), with standard uncertainties, of which one is above nought.

    Says whether the laboratory's own stated uncertainty holds. An assigned value that the laboratory itself
    helped to make is nearer to it than this allows for. Source: ISO 13528, 9.6.
    """
    return _scored(values, assigned, _joint(u, u_assigned))


def en_scores(
    values: ArrayLike, assigned: ArrayLike, expanded: ArrayLike, expanded_assigned: ArrayLike
) -> Floats:
    """E_n = (x - x_pt) / sqrt(U²(x) + U²(x_pt)), with uncertainties expanded to about 95 %.

    Half of zeta where both were expanded by 2. Source: ISO 13528, 9.7.
    """
    return _scored(values, assigned, _joint(expanded, expanded_assigned))


def negligible(u_assigned: float, sigma: float) -> bool:
    """Whether z may be used: the assigned value's uncertainty is below 0.3 sigma_pt (ISO 13528, 9.2.1)."""
    return u_assigned < NEGLIGIBLE * sigma


def mark(score: float) -> Mark:
    """How a z, z' or zeta score is read: up to 2 acceptable, from 3 on action, between them a warning."""
    size = abs(_known(score))
    if size >= ACTION:
        return "action"
    return "warning" if size > WARNING else "acceptable"


def en_mark(score: float) -> Mark:
    """How an E_n score is read: below 1 acceptable, from 1 on action. There is no warning."""
    return "action" if abs(_known(score)) >= EN_ACTION else "acceptable"


def _scored(values: ArrayLike, assigned: ArrayLike, width: Floats) -> Floats:
    return np.asarray((np.asarray(values, float) - np.asarray(assigned, float)) / width, float)


def _joint(one: ArrayLike, two: ArrayLike) -> Floats:
    return _above_nought(np.hypot(_not_below(one), _not_below(two)), "the joint uncertainty")


def _above_nought(given: ArrayLike, name: str) -> Floats:
    values = np.asarray(given, float)
    if (values <= 0).any():
        raise ValueError(f"{name} must be above nought")
    return values


def _not_below(given: ArrayLike) -> Floats:
    values = np.asarray(given, float)
    if (values < 0).any():
        raise ValueError("an uncertainty is below nought")
    return values


def _known(score: float) -> float:
    if np.isnan(score):
        raise ValueError("a score that is not known cannot be read")
    return score
