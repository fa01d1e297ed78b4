"""Both sides of a comparison brought together where they were measured alike."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from registry.answers.blocks import Block, by_setting, distinct
from registry.answers.readings import readings_in
from registry.answers.setting import Setting
from registry.answers.spreads import Scattered
from registry.answers.wording import figure
from registry.models import Elevation
from registry.statistics.differences import Fit, fit
from registry.statistics.strata import Contrasts


@dataclass(frozen=True)
class Pair:
    """One setting and metric that both sides were measured at, with the summaries of each.

    `bands` are the bands of elevation that both were measured in; each is a stratum of the fit.
    """

    setting: Setting
    bands: tuple[str, ...]
    old: Sequence[Block]
    new: Sequence[Block]
    fit: Fit | None
    of_units: bool = False

    @property
    def scattered(self) -> Scattered:
        """How much units of either side scatter, as far as the fit knows."""
        counts = [len(distinct(side, "unit")) for side in (self.old, self.new)]
        return Scattered(self.fit, (0, 1), (counts[0], counts[1]))


def paired(old: Sequence[Block], new: Sequence[Block], fixed: list[int]) -> Iterator[Pair]:
    """Yield every setting and metric that both sides have in a common band of elevation, with its fit.

    `fixed` are keys of units that are themselves asked about.
    """
    before, after = (_by_band(blocks) for blocks in (old, new))
    for setting, bands in before.items():
        both = [band for band in bands if band in after.get(setting, {})]
        if not both:
            continue
        both.sort(key=Elevation.values.index)
        cells = [side[setting][band] for band in both for side in (before, after)]
        mine, other = ([block for cell in cells[which::2] for block in cell] for which in (0, 1))
        fitted = fit(readings_in(cells, fixed, build=[0, 1] * len(both)))
        yield Pair(setting, tuple(both), mine, other, fitted, bool(fixed))


def _by_band(blocks: Sequence[Block]) -> dict[Setting, dict[str, list[Block]]]:
    """The summaries of each setting, whatever the elevation, by its bands."""
    found: dict[Setting, dict[str, list[Block]]] = {}
    for setting, of in by_setting(blocks).items():
        found.setdefault(setting._replace(elevation=""), {})[setting.elevation] = of
    return found


def by_band(bands: Sequence[str], fitted: Fit, of: Contrasts) -> list[dict[str, Any]]:
    """Return the difference within each band, with its interval by itself; none where there is one band."""
    if len(bands) < 2:
        return []
    estimates = [fitted.estimate(contrast) for contrast in of.within]
    ends = [estimate.interval() for estimate in estimates]
    return [
        {
            "elevation": band,
            "difference": figure(estimate.value),
            "low": figure(low),
            "high": figure(high),
        }
        for band, estimate, (low, high) in zip(bands, estimates, ends, strict=True)
    ]
