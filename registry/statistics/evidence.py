"""How likely each kind of evidence is under each build a pump may be: marks, firmware, dates and serials.

Each function gives one likelihood a hypothesis, in the order of the builds and with "none of them" last.
Likelihoods matter up to a common factor. What is not known of a build makes it neither likelier nor less.
The rates of error here are common practice, no published source.
"""

from collections.abc import Sequence
from datetime import date

import numpy as np

from registry.statistics.robust import Floats

# A person who looks at a mark and says what it is, is wrong once in twenty times.
MISREAD = 0.05
# A unit shows firmware that its build is not known with: it was updated, or the tag was not yet noted.
OTHER_FIRMWARE = 0.15
# Firmware of a later build comes onto an older one by updating; the other way round is rarer.
UPDATED = 2.0
# A build reaches a test bench a year after it is first sold, and older stock is sold three years more.
BENCH_LAG_YEARS = 1.0
STOCK_YEARS = 3.0
# Dates alone never exclude a build.
LEAST_BY_DATE = 0.05
# How often a serial's answer is right where no voice contradicts it.
RIGHT_BY_BASIS = {"declared": 0.98, "observed": 0.95, "inferred": 0.90}
RIGHT_OTHERWISE = 0.85
_YEAR_DAYS = 365.25


def mark_likelihoods(value: str, known: Sequence[str | None], values: Sequence[str]) -> Floats:
    """Likelihood of a mark seen as `value`; `known` holds each build's own value, None where not known.

    `values` are all that the mark can be; `value` is one of them. Where a build's value is not known, and for
    none of the builds, each is as likely as another.
    """
    if value not in values:
        raise ValueError(f"{value!r} is none of the values the mark can have")
    spread = 1.0 / max(len(values), 2)
    wrong = MISREAD / max(len(values) - 1, 1)
    of_builds = [spread if own is None else 1 - MISREAD if own == value else wrong for own in known]
    return np.array([*of_builds, spread])


def tag_likelihoods(tag: str, known: Sequence[Sequence[str]]) -> Floats:
    """Likelihood of a firmware tag; `known` holds the tags of each build, older builds first.

    A build with several tags shows each as often as another. Raises ValueError for a tag no build has.
    """
    tags = list(dict.fromkeys(one for own in known for one in own))
    if tag not in tags:
        raise ValueError(f"{tag!r} is the firmware of no build")
    rank = {one: place for place, own in reversed(list(enumerate(known))) for one in own}
    spread = 1.0 / (len(tags) + 1)
    return np.array([*(_of_tags(tag, own, place, rank, spread) for place, own in enumerate(known)), spread])


def _of_tags(tag: str, own: Sequence[str], place: int, rank: dict[str, int], spread: float) -> float:
    if not own:
        return spread
    if tag in own:
        return (1 - OTHER_FIRMWARE) / len(own)
    weight = {one: UPDATED if of > place else 1.0 for one, of in rank.items() if one not in own}
    # One more share is that of tags nobody has noted yet.
    return OTHER_FIRMWARE * weight[tag] / (sum(weight.values()) + 1.0)


def date_likelihoods(bought: date, first_seen: Sequence[date | None]) -> Floats:
    """Likelihood that a pump of each build was bought on a day; `first_seen` is when a bench first had one.

    A build is less likely the longer the day lies before that, and the longer it lies after a later build was
    there. Builds nobody has seen, and none of the builds, get the mean of the others. Weak on purpose.
    """
    found: list[float | None] = []
    for place, seen in enumerate(first_seen):
        later = [other for other in first_seen[place + 1 :] if other is not None]
        found.append(None if seen is None else _by_date(bought, seen, min(later, default=None)))
    told = [one for one in found if one is not None]
    middle = float(np.mean(told)) if told else 1.0
    return np.array([*(middle if one is None else one for one in found), middle])


def _by_date(bought: date, seen: date, replaced: date | None) -> float:
    early = max((seen - bought).days, 0) / _YEAR_DAYS
    late = 0.0 if replaced is None else max((bought - replaced).days, 0) / _YEAR_DAYS
    return max(float(np.exp(-early / BENCH_LAG_YEARS - late / STOCK_YEARS)), LEAST_BY_DATE)


def trusted(basis: str, supporting: int, contradicting: int) -> float:
    """How far a serial's answer is to be trusted: by its basis, and by voices where some contradict it.

    With contrary voices it is at most (s + 1) / (s + c + 2), Laplace's rule of succession.
    """
    by_basis = RIGHT_BY_BASIS.get(basis, RIGHT_OTHERWISE)
    if contradicting <= 0:
        return by_basis
    return min(by_basis, (supporting + 1) / (supporting + contradicting + 2))


def serial_likelihoods(place: int, right: float, prior: Floats) -> Floats:
    """Likelihood of a serial whose answer names the build at `place` and is right with probability `right`.

    Such that the serial alone leaves that build with just this probability, and the rest as before it.
    """
    others = (1 - right) / (1 - prior[place])
    found: Floats = np.full(prior.size, others)
    found[place] = right / prior[place]
    return found
