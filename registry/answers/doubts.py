"""How sure it is that one setting lies within margins of another."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from math import prod

from registry.answers.blocks import Block
from registry.answers.readings import readings_in
from registry.statistics.differences import Estimate, fit
from registry.statistics.equivalence import ALPHA
from registry.statistics.matching import Need, chance_alone

WITHIN, BEYOND, UNTOLD = "within", "not within", "cannot tell"


@dataclass(frozen=True)
class Doubt:
    """Each metric's difference as estimated and its chance of being within its margin.

    Both are empty where nothing tells how much units scatter. `chance` is that of all metrics at once, taken
    as not going together; None where a metric's is not known.
    """

    differences: Mapping[str, Estimate]
    chances: Mapping[str, float]
    chance: float | None

    @property
    def state(self) -> str:
        """Within margins, not within, or not to be told, at 5 % error, however metrics go together."""
        if self.chances and min(self.chances.values()) <= ALPHA:
            return BEYOND
        missed = sum(1 - chance for chance in self.chances.values())
        return WITHIN if self.chance is not None and missed <= ALPHA else UNTOLD


def doubt_of(old: Mapping[str, Block], new: Mapping[str, Block], widths: Mapping[str, float]) -> Doubt:
    """Return how sure the distance of two settings is, metric by metric, as a comparison works it out."""
    differences = {}
    for metric in widths:
        fitted = fit(readings_in([[old[metric]], [new[metric]]], build=_builds(old[metric], new[metric])))
        if fitted is not None:
            differences[metric] = fitted.estimate((-1.0, 1.0))
    chances = {
        metric: chance_alone(of, Need(-widths[metric], widths[metric])) for metric, of in differences.items()
    }
    return Doubt(differences, chances, prod(chances.values()) if _all(chances, widths) else None)


def _builds(old: Block, new: Block) -> list[int]:
    """Two settings of one build have one spread between units."""
    return [0, 0] if (old.pump_model, old.revision) == (new.pump_model, new.revision) else [0, 1]


def _all(known: Collection[str], wanted: Collection[str]) -> bool:
    return len(known) == len(wanted)
