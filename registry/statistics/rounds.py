"""A reference unit sent round: what each clinic read of it, scored as in ISO 13528.

The assigned value is the clinics' own: the robust mean of what they read (Algorithm A) with the standard
uncertainty 1.25 s* / sqrt(p) (ISO 13528:2022, 7.7; from memory). E_n holds a clinic against the others only,
since a value it helped to make lies nearer to it than its uncertainty allows for.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from registry.statistics.consensus import consensus
from registry.statistics.robust import algorithm_a
from registry.statistics.scores import Mark, en_mark, en_scores, mark, negligible, z_prime_scores, z_scores

ENOUGH_CLINICS = 3
_EXPANDED = 2.0
_HAIR = 1e-9


@dataclass(frozen=True)
class Score:
    """One clinic of a round. `reads` is how its z or z' is read, `en_reads` how its E_n is."""

    value: float
    u: float
    z: float
    z_prime: float
    en: float
    reads: Mark
    en_reads: Mark


@dataclass(frozen=True)
class Round:
    """One metric at one setting of one unit: assigned value with its standard uncertainty, and scores.

    `robust` is s*, the standard deviation between clinics; `sigma` the one that clinics are assessed by.
    `by` names the score that counts: z where the assigned value's uncertainty is negligible, z' otherwise.
    """

    assigned: float
    u_assigned: float
    robust: float
    sigma: float
    by: str
    scores: tuple[Score, ...]


def score_round(values: ArrayLike, u: ArrayLike, sigma: float) -> Round:
    """Score clinics by one value and standard uncertainty each, in their order.

    `sigma` is the standard deviation for assessment, in the values' unit, above nought. Raises ValueError
    below three clinics.
    """
    x = np.asarray(values, float)
    # Nobody is certain: a clinic that states no uncertainty gets a hair, as a weight needs one.
    doubt = np.maximum(np.asarray(u, float), _HAIR * max(float(np.abs(x).max(initial=0.0)), 1.0))
    if x.size < ENOUGH_CLINICS:
        raise ValueError("a round needs three clinics")
    assigned, robust = algorithm_a(x)
    u_assigned = 1.25 * robust / float(np.sqrt(x.size))
    small = negligible(u_assigned, sigma)
    z = z_scores(x, assigned, sigma)
    z_prime = z_prime_scores(x, assigned, sigma, u_assigned)
    en = [_against_others(x, doubt, k) for k in range(x.size)]
    scores = (
        Score(
            value=float(x[k]),
            u=float(doubt[k]),
            z=float(z[k]),
            z_prime=float(z_prime[k]),
            en=en[k],
            reads=mark(float((z if small else z_prime)[k])),
            en_reads=en_mark(en[k]),
        )
        for k in range(x.size)
    )
    return Round(assigned, u_assigned, robust, sigma, "z" if small else "z_prime", tuple(scores))


def _against_others(x: np.ndarray, u: np.ndarray, k: int) -> float:
    """E_n of clinic `k` against the Paule-Mandel consensus of all others."""
    rest = np.arange(x.size) != k
    others = consensus(x[rest], u[rest], method="pm")
    return float(en_scores(x[k], others.value, _EXPANDED * u[k], _EXPANDED * others.u))
