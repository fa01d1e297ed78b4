"""What one side of a comparison was measured at, without the single readings."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy import special

from registry.answers.blocks import Block, Keys, by_setting, distinct, together
from registry.answers.packing import UNDECLARED
from registry.answers.setting import Setting
from registry.statistics.robust import Floats
from registry.statistics.stacks import middle, sums

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

    def behaving(self) -> Iterator[tuple[Setting, list[float]]]:
        """The settings and metrics of which behaviour is told, with that."""
        at = np.flatnonzero(~np.isnan(self.behaviour[:, 0])).tolist()
        return zip((self.settings[place] for place in at), self.behaviour[at].tolist(), strict=True)

    @cached_property
    def all_clinics(self) -> frozenset[int]:
        """The clinics that measured anywhere."""
        return frozenset().union(*set(self.clinics))

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
        _behaviour(found),
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


def _behaviour(found: Mapping[Setting, Sequence[Block]]) -> Floats:
    """The medians of unit means and the intervals of their mean; those of the same units side by side."""
    told = np.full((len(found), 3), np.nan)
    alike: dict[bytes, list[tuple[int, Floats]]] = defaultdict(list)
    unit: dict[bytes, Keys] = {}
    for place, (setting, blocks) in enumerate(found.items()):
        if setting.metric in BEHAVIOUR:
            units = together(blocks, "unit")
            key = units.tobytes()
            unit[key] = units
            alike[key].append((place, together(blocks, "mean")))
    for key, rows in alike.items():
        by_unit = sums(np.unique(unit[key], return_inverse=True)[1])
        means = by_unit(np.array([mean for _, mean in rows])) / by_unit.size
        told[[place for place, _ in rows]] = np.column_stack([middle(means)[:, 0], *_ends(means)])
    return told


def _ends(means: Floats) -> tuple[Floats, Floats]:
    """The 95 % intervals of the mean over units, a row each; unknown below three of them."""
    size = means.shape[1]
    if size < _FEWEST:
        return np.full(means.shape[0], -np.inf), np.full(means.shape[0], np.inf)
    half = special.stdtrit(size - 1, 0.975) * means.std(axis=1, ddof=1) / np.sqrt(size)
    centre = means.mean(axis=1)
    return centre - half, centre + half
