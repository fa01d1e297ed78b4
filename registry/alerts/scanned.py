"""What a rule is given to judge."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, TypeVar

from registry.alerts.leaning import Leaning
from registry.alerts.readings import Readings
from registry.alerts.verdicts import Verdict

_Made = TypeVar("_Made")


@dataclass(frozen=True)
class Changed:
    """What new runs bear on: one pump model, and the gauge they were read with, if one was declared."""

    pump_model: int
    gauge: int | None = None


@dataclass(frozen=True)
class Scan:
    """`readings` of whole pump models, and the edition they are of.

    `found` holds, by rule name, what rules earlier in the order of precedence found off beyond chance, so
    that one cause gives one alert. `only` is what changed, when a check of new runs asks for no more; a rule
    may then judge fewer subjects, but no differently. `leaning` is what was found of the gauges,
    `builds` the revisions to judge, None for all. What several rules look at is made `once`.
    """

    readings: Readings
    edition: int
    found: Mapping[str, Sequence[Verdict]] = field(default_factory=dict)
    only: Changed | None = None
    leaning: Leaning = field(default_factory=Leaning)
    builds: frozenset[int] | None = None
    _made: dict[Callable[["Scan"], Any], Any] = field(default_factory=dict, repr=False, compare=False)

    def once(self, make: Callable[["Scan"], _Made]) -> _Made:
        """What `make` makes of this scan, made when it is first asked for."""
        if make not in self._made:
            self._made[make] = make(self)
        found: _Made = self._made[make]
        return found

    def off(self, rule: str, kind: str) -> frozenset[int]:
        """The database keys of a kind that an earlier rule found off."""
        return frozenset(v.keys[kind] for v in self.found.get(rule, ()) if kind in v.keys)

    def asks_for(self, revision: int) -> bool:
        """Whether a build is to be judged."""
        return self.builds is None or revision in self.builds
