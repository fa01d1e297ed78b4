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
# Nothing at a clinic turns a pump faster; gauges are calibrated anew, and rigs get worn.
_JUMPS: Mapping[str, float] = MappingProxyType({"cycle_rate": 0.005})
# A tenth of a rate is five spreads, which needs no help; wild units are less often taken for a change so.
_SAYS: Mapping[str, float] = MappingProxyType({"cycle_rate": 0.1})
_LEAST: Mapping[str, float] = MappingProxyType({"cycle_rate": 0.04, "peak_vacuum": 8.0, "mean_vacuum": 4.0})


@dataclass(frozen=True)
class Limits:
    """Floors and limits of all three questions.

    A side of a split needs `units` from benches that measured both sides, `clinics` of which there must
    be. How many times likelier a step makes all that was read bounds the chance of ever seeing as much
    while units come (Ville's inequality); that chance is `seldom` times what the bound says, as replays
    show, since most communities have less amiss than is allowed for. `chance` is its limit. It counts as
    it is up to `uncharged` units, and beyond times how many times as many there are, to the power
    `charge`. `least` is the smallest change that counts, by metric; of metrics not named it is two
    spreads. Without what any one clinic read a step must still make the rest `without_a_clinic` times as
    likely. A lean that jumps makes what a clinic read `jumped` times likelier, or it is not said to.
    `jumps` is how likely a bench's lean is to jump between two units, by metric (`jumps_else` of others);
    `says` what share of the chance a metric's channels get (others 1). A change is gradual, no step,
    where a slope makes readings likelier by a logarithm of `gradual` more, and none along the order where
    two kinds of units in no order do by `mixed`; with more units than `uncharged` the last three ask for
    more. A split less sure than `sure`, and kinds in no order, have to be seen again with more readings.

    Sizes of changes are fitted with `usual` spreads that count as much as `weight` units would, for few
    units do not tell what they scatter by. Readings are reined in to `reined` spreads; those beyond
    `wild` of them from both sides are left out, of a fifth of the rows at most.

    Without an order more is asked: `kind_units` and `kind_share` of all units on either side,
    `kind_clinics` that read both kinds, kinds `kinds_apart` times as far apart as their own units
    scatter, and a chance below `kind_chance`, charged with the power `kind_charge`. A drift needs
    `drift_units` over `drift_years` at least, and `drift_chance`. Of kinds and drifts, every clinic left
    out in turn, the others must still show the change with a chance below `without_one` and at `kept` of
    its size at least.
    """

    units: int = 4
    clinics: int = 2
    chance: float = 0.025
    seldom: float = 0.05
    uncharged: int = 12
    charge: float = 2.0
    sure: float = 0.007
    least: Mapping[str, float] = field(default_factory=lambda: _LEAST)
    without_a_clinic: float = 0.3
    jumped: float = 20.0
    jumps: Mapping[str, float] = field(default_factory=lambda: _JUMPS)
    jumps_else: float = 0.03
    says: Mapping[str, float] = field(default_factory=lambda: _SAYS)
    gradual: float = 3.0
    mixed: float = 0.5
    usual: Mapping[str, float] = field(default_factory=lambda: USUAL_SPREAD)
    weight: float = 12.0
    reined: float = 3.0
    wild: float = 4.5
    kind_units: int = 5
    kind_share: float = 0.2
    kind_clinics: int = 3
    kinds_apart: float = 4.0
    kind_chance: float = 0.001
    kind_charge: float = 4.0
    drift_units: int = 10
    drift_years: float = 0.25
    drift_chance: float = 0.015
    without_one: float = 0.04
    kept: float = 0.5

    def as_dict(self) -> dict[str, Any]:
        """The figures by name, as everybody may read them."""
        found = {one.name: getattr(self, one.name) for one in fields(self)}
        return {**found, **{name: dict(getattr(self, name)) for name in ("least", "usual", "jumps", "says")}}

    def charged(self, chance: float, units: int, power: float) -> float:
        """A chance with what it costs that so many units were looked at one after the other."""
        return float(min(chance * max(units / self.uncharged, 1.0) ** power, 1.0))

    def jumps_of(self, metric: str) -> float:
        """How likely a bench's lean in a metric is to jump from one of its units to the next."""
        return self.jumps.get(metric, self.jumps_else)

    def few(self, units: int) -> float:
        """How far demands on what else may explain a step are relaxed: wholly up to `uncharged` units."""
        return float(min(self.uncharged / units, 1.0) ** 2)

    def says_of(self, metric: str) -> float:
        """The weight of a metric's channels among all."""
        return self.says.get(metric, 1.0)

    def spread(self, metric: str) -> float:
        """What units of one build usually differ by in a metric."""
        return self.usual.get(metric, 5.0 if metric in IN_MMHG else 0.04)

    def least_of(self, metric: str) -> float:
        """The smallest change of a metric that counts."""
        return self.least.get(metric, 2 * self.spread(metric))


LIMITS = Limits()
