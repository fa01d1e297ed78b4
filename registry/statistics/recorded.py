"""How likely what was recorded of one pump is under each build, and what one more setting would tell.

Hypotheses are the builds in order and, last, none of them. A build that nobody measured at a setting is
neither favoured nor excluded there: it counts as one that is half likely to do as one of the others does, and
else may lie anywhere about them.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from registry.statistics.foreseen import Foreseen, middle_of
from registry.statistics.information import information_of_values, spread_points
from registry.statistics.predictive import Predictive, Reading, predict, predict_unknown
from registry.statistics.robust import Floats
from registry.statistics.togetherness import Code, Together

_LIKE_ANOTHER = 0.5
_POINTS = 256


@dataclass(frozen=True)
class Known:
    """What is known of all builds: what each does by setting and metric (None where nobody measured it), and
    how units deviate together."""

    builds: int
    foreseen: Mapping[Code, Sequence[Foreseen | None]]
    together: Together

    def measured(self, code: Code) -> list[int]:
        """The builds that were measured there."""
        return [place for place, one in enumerate(self.foreseen.get(code, ())) if one is not None]

    def middle(self, code: Code) -> Foreseen:
        """What is to be expected there of a build nobody measured."""
        return middle_of([one for one in self.foreseen[code] if one is not None])


def log_likelihoods(known: Known, readings: Sequence[Reading]) -> Floats:
    """Natural logarithms of how likely all readings together are, a value a hypothesis.

    Readings where no build was measured say nothing and are left out.
    """
    told = [reading for reading in readings if known.measured(reading.code)]
    if not told:
        return np.zeros(known.builds + 1)
    found = [_of_build(known, told, build) for build in range(known.builds)]
    return np.array([*found, _log(_unknown(known, told), told)])


def steps(known: Known, traces: Sequence[Sequence[Reading]]) -> list[Floats]:
    """What each trace adds to those before it; all together are what the traces say at once."""
    found, before = [], np.zeros(known.builds + 1)
    for size in range(1, len(traces) + 1):
        now = log_likelihoods(known, [reading for trace in traces[:size] for reading in trace])
        found.append(now - before)
        before = now
    return found


def expected_information(
    known: Known, chances: Floats, readings: Sequence[Reading], ahead: Sequence[Reading]
) -> float:
    """Bits that recording `ahead` would tell, given the readings there are; values in `ahead` do not count.

    Only builds that were measured there can be told apart by it, and each of them from none of the builds.
    """
    told = [reading for reading in readings if known.measured(reading.code)]
    both = [*told, *ahead]
    values = np.array([reading.value for reading in told])
    able = [b for b in range(known.builds) if all(known.foreseen[one.code][b] for one in both)]
    if not able:
        return 0.0
    among = [_of_all(known, both, build).after(values) for build in able]
    among.append(_unknown(known, both).after(values))
    kept = chances[[*able, known.builds]]
    total = float(kept.sum())
    if total <= 0:
        return 0.0
    cube = spread_points(_POINTS, len(ahead) + 1)
    draws = [one.drawn(cube) for one in among]
    return total * information_of_values(kept / total, draws, [one.logs for one in among])


def _of_build(known: Known, told: Sequence[Reading], build: int) -> float:
    mine = [reading for reading in told if known.foreseen[reading.code][build] is not None]
    rest = [reading for reading in told if known.foreseen[reading.code][build] is None]
    sure = _log(_of_all(known, mine, build), mine) if mine else 0.0
    return sure + (_of_unmeasured(known, rest) if rest else 0.0)


def _of_unmeasured(known: Known, rest: Sequence[Reading]) -> float:
    """Half as one of the builds that were measured at all of these, else anywhere about them."""
    others = [b for b in range(known.builds) if all(known.foreseen[one.code][b] for one in rest)]
    wide = _log(_unknown(known, rest), rest)
    if not others:
        return wide
    alike = np.array([_log(_of_all(known, rest, other), rest) for other in others])
    logs = [*(alike + np.log(_LIKE_ANOTHER / len(others))), wide + np.log(1 - _LIKE_ANOTHER)]
    return float(np.logaddexp.reduce(logs))


def _of_all(known: Known, readings: Sequence[Reading], build: int) -> Predictive:
    foreseen = [one for reading in readings if (one := known.foreseen[reading.code][build]) is not None]
    return predict(foreseen, readings, known.together)


def _unknown(known: Known, readings: Sequence[Reading]) -> Predictive:
    return predict_unknown([known.middle(one.code) for one in readings], readings, known.together)


def _log(of: Predictive, readings: Sequence[Reading]) -> float:
    return float(of.logs(np.array([[reading.value for reading in readings]]))[0])
