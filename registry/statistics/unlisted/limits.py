"""What a change has to reach before a build is said to be two, and what units of one build scatter by."""

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from types import MappingProxyType
from typing import Any

# Vacuum is looked at in mmHg, in which what units of one build differ by is alike at all settings; all else
# as a logarithm, so that 0.02 is 2 %.
IN_MMHG = frozenset({"peak_vacuum", "mean_vacuum", "residual_vacuum", "vacuum_swing"})
# What units of one build differ by, as a standard deviation: common practice, no published source.
USUAL_SPREAD: Mapping[str, float] = MappingProxyType(
    {"cycle_rate": 0.02, "peak_vacuum": 5.0, "mean_vacuum": 2.5}
)
_LEAST: Mapping[str, float] = MappingProxyType({"cycle_rate": 0.04, "peak_vacuum": 8.0, "mean_vacuum": 4.0})


@dataclass(frozen=True)
class Limits:
    """Floors and limits of all three questions.

    A side of a split needs `units` from benches that measured both sides, `clinics` of which there must be.
    `information` is how many units' worth of difference is left when benches are taken out: twelve units,
    half on either side of every bench, hold three. `least` is the smallest change that counts, by metric;
    of metrics not named it is two spreads. Every clinic left out in turn, the others must still show the
    change with a chance below `without_one` and at `kept` of its size at least; so must the units without
    the one of either side that speaks loudest for it, and without any single unit. It has to explain more
    than a step of any one clinic's own does, by `one_clinic` (twice a log likelihood, like `gradual`).
    `own_side` is the share of units of either side that must lie nearer to their own side,
    `own_side_without_one` when any single unit is left out. `usual` spreads count as much as `weight`
    units would, for few units do not tell what they scatter by. Readings are reined in to `reined` spreads;
    those beyond `wild` of them from both sides are left out, of a fifth of the rows at most. A change is
    gradual, no step, where a slope explains it better by `gradual` (twice a log likelihood). A chance, of
    which `chance` is the limit, counts as it is up to `uncharged` units, and beyond times the fourth power of
    how many times as many there are, since every unit is another look: all of those together add less than
    `uncharged` / 3 looks at full chance. A split less sure than `sure`, and kinds in no order, have to be
    seen again with more readings.

    Without an order more is asked: `kind_units` and `kind_share` of all units on either side, `kind_clinics`
    that read both kinds, kinds `kinds_apart` times as far apart as their own units scatter, and a charged
    chance below `kind_chance`. A drift needs `drift_units` over `drift_years` at least, and `drift_chance`.
    """

    units: int = 4
    clinics: int = 2
    information: float = 1.5
    chance: float = 0.03
    uncharged: int = 12
    sure: float = 0.001
    least: Mapping[str, float] = field(default_factory=lambda: _LEAST)
    without_one: float = 0.04
    kept: float = 0.5
    one_clinic: float = 0.5
    own_side: float = 0.75
    own_side_without_one: float = 0.67
    usual: Mapping[str, float] = field(default_factory=lambda: USUAL_SPREAD)
    weight: float = 12.0
    reined: float = 3.0
    wild: float = 4.5
    gradual: float = 6.0
    kind_units: int = 5
    kind_share: float = 0.2
    kind_clinics: int = 3
    kinds_apart: float = 4.0
    kind_chance: float = 0.001
    drift_units: int = 10
    drift_years: float = 0.25
    drift_chance: float = 0.015

    def as_dict(self) -> dict[str, Any]:
        """The figures by name, as everybody may read them."""
        found = {one.name: getattr(self, one.name) for one in fields(self)}
        return {**found, "least": dict(self.least), "usual": dict(self.usual)}

    def charged(self, chance: float, units: int) -> float:
        """A chance with what it costs that so many units were looked at one after the other."""
        return min(chance * max(units / self.uncharged, 1.0) ** 4, 1.0)

    def spread(self, metric: str) -> float:
        """What units of one build usually differ by in a metric."""
        return self.usual.get(metric, 5.0 if metric in IN_MMHG else 0.04)

    def least_of(self, metric: str) -> float:
        """The smallest change of a metric that counts."""
        return self.least.get(metric, 2 * self.spread(metric))


LIMITS = Limits()
