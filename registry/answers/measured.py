"""What one side of a comparison was measured at, without the single readings."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy import special

from registry.answers.blocks import Block, by_setting, distinct, typical, unit_means
from registry.answers.packing import UNDECLARED
from registry.answers.setting import Setting
from registry.statistics.robust import Floats

# What tells whether a build still reaches a rate at the vacuum it is used at.
BEHAVIOUR = ("cycle_rate", "peak_vacuum")
_FEWEST = 3


@dataclass(frozen=True)
class Measured:
    """The settings and metrics of a side; all else has one entry a setting.

    `clinics` are those that measured there, `undeclared` whether any did by a gauge nobody declared.
    `behaviour` has, for the metrics in `BEHAVIOUR`, the median of unit means and both ends of the 95 %
    interval of their mean; NaN for other metrics.
    """

    settings: tuple[Setting, ...]
    clinics: tuple[frozenset[int], ...]
    undeclared: tuple[bool, ...]
    behaviour: Floats

    @cached_property
    def all_clinics(self) -> frozenset[int]:
        """The clinics that measured anywhere."""
        return frozenset().union(*self.clinics)

    def only(self, kept: Sequence[int]) -> "Measured":
        """Some of the settings."""
        return Measured(
            tuple(self.settings[at] for at in kept),
            tuple(self.clinics[at] for at in kept),
            tuple(self.undeclared[at] for at in kept),
            self.behaviour[list(kept)],
        )


def measured(blocks: Sequence[Block]) -> Measured:
    """What the summaries of a side say of where it was measured."""
    found = dict(sorted(by_setting(blocks).items()))
    known: dict[bytes, tuple[frozenset[int], bool]] = {}
    who = [_who(of, known) for of in found.values()]
    return Measured(
        tuple(found),
        tuple(clinics for clinics, _ in who),
        tuple(undeclared for _, undeclared in who),
        np.array([_behaviour(setting, of) for setting, of in found.items()]).reshape(-1, 3),
    )


def _who(
    blocks: Sequence[Block], known: dict[bytes, tuple[frozenset[int], bool]]
) -> tuple[frozenset[int], bool]:
    """The clinics, and whether a gauge was not declared; mostly the same at all settings."""
    key = b"|".join(block.who for block in blocks)
    if key not in known:
        undeclared = any(bool((block.gauge == UNDECLARED).any()) for block in blocks)
        known[key] = frozenset(distinct(blocks, "clinic")), undeclared
    return known[key]


def _behaviour(setting: Setting, blocks: Sequence[Block]) -> tuple[float, float, float]:
    if setting.metric not in BEHAVIOUR:
        return np.nan, np.nan, np.nan
    return typical(blocks), *_ends(unit_means(blocks))


def _ends(means: Floats) -> tuple[float, float]:
    """The 95 % interval of the mean over units; unknown below three of them."""
    if means.size < _FEWEST:
        return float("-inf"), float("inf")
    half = float(special.stdtrit(means.size - 1, 0.975)) * float(means.std(ddof=1) / np.sqrt(means.size))
    return float(means.mean()) - half, float(means.mean()) + half
