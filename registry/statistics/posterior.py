"""From what each build makes of the evidence to how likely each build is, and what that is in words."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from registry.statistics.robust import Floats

# That a pump is none of the builds listed under its name: common practice, no published source.
UNLISTED = 0.05
SURE = 0.95
PROBABLE = 0.80


class Band(StrEnum):
    """How much evidence weighs between two builds, by the bands of R. E. Kass and A. E. Raftery, "Bayes
    Factors", J. Am. Stat. Assoc. 90 (1995) 773, section 3.2 (from memory): 3, 20 and 150 to 1."""

    LITTLE = "says little"
    POSITIVE = "speaks"
    STRONG = "speaks strongly"
    DECISIVE = "speaks very strongly"


_BANDS = ((150.0, Band.DECISIVE), (20.0, Band.STRONG), (3.0, Band.POSITIVE))


@dataclass(frozen=True)
class Weight:
    """What evidence does between the two builds at `favours` and `over`: how many times likelier it is under
    the one, and the band that lies in."""

    favours: int
    over: int
    ratio: float
    band: Band


def prior_of(builds: int, unlisted: float = UNLISTED) -> Floats:
    """Equal chances for all builds, and `unlisted` for none of them, last.

    Not by how often each was seen: benches test what gives trouble, not what is sold. Raises ValueError
    without a build.
    """
    if builds < 1:
        raise ValueError("a pump model needs a build to be told from others")
    return np.array([*[(1 - unlisted) / builds] * builds, unlisted])


def posterior(prior: Floats, likelihoods: Sequence[Floats]) -> Floats:
    """Chances after evidence that is independent given the build: prior times likelihoods, made one in all.

    `likelihoods` are natural logarithms, one array a piece of evidence.
    """
    total = np.log(prior) + sum(likelihoods, np.zeros(prior.size))
    found: Floats = np.exp(total - total.max())
    found /= found.sum()
    return found


def band_of(ratio: float) -> Band:
    """The band of a ratio of likelihoods; one below 1 counts as its inverse."""
    size = ratio if ratio >= 1 else 1 / max(ratio, 1e-300)
    return next((band for least, band in _BANDS if size > least), Band.LITTLE)


def weigh(loglikelihoods: Floats, chances: Floats) -> Weight:
    """What one piece of evidence weighs where it matters; hypotheses are the builds and, last, none of them.

    Between the likeliest hypothesis and the likeliest other build, `chances` being those after all evidence
    (none of the builds where there is no other). Where it says little there, between the likeliest and the
    one that it parts furthest from it.
    """
    first = int(np.argmax(chances))
    rivals = [place for place in range(chances.size - 1) if place != first] or [chances.size - 1]
    between = _between(loglikelihoods, first, max(rivals, key=lambda place: float(chances[place])))
    furthest = int(np.argmax(np.abs(loglikelihoods - loglikelihoods[first])))
    if between.band is not Band.LITTLE or furthest == first:
        return between
    wider = _between(loglikelihoods, first, furthest)
    return wider if wider.band is not Band.LITTLE else between


def _between(loglikelihoods: Floats, one: int, other: int) -> Weight:
    if loglikelihoods[other] > loglikelihoods[one]:
        one, other = other, one
    ratio = float(np.exp(min(loglikelihoods[one] - loglikelihoods[other], 690.0)))
    return Weight(one, other, ratio, band_of(ratio))


@dataclass(frozen=True)
class Verdict:
    """Which hypothesis is named, None for none of them, and whether it is sure or only probable."""

    place: int | None
    is_sure: bool


def judge(chances: Floats, without_thin: Floats, *, says_anything: bool) -> Verdict:
    """Name the likeliest hypothesis from 80 % up, surely from 95 %; nothing where evidence is thin.

    `without_thin` are the chances that remain when evidence from too few units or clinics is left out: the
    name has to stand in both. Without any evidence that says more than little, nothing is named.
    """
    top = int(np.argmax(chances))
    least = float(min(chances[top], without_thin[top]))
    if not says_anything or least < PROBABLE:
        return Verdict(None, is_sure=False)
    return Verdict(top, is_sure=least >= SURE)
