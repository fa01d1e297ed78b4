"""What one run of the next unit of each build reads at one setting, in the parts that make it uncertain."""

from collections.abc import Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from registry.statistics.crossed import CERTAIN, Readings
from registry.statistics.differences import Fit, fit

# How much units of one build commonly differ: a share of the value and an amount in the metric's unit, put
# together as root of squares. Common practice, no published source. What benches see counts beside it as soon
# as there is any of it.
USUAL_SPREAD = MappingProxyType(
    {"cycle_rate": (0.03, 0.0), "peak_vacuum": (0.01, 6.0), "residual_vacuum": (0.05, 6.0)}
)
# As many degrees of freedom as the usual spread is worth.
_BELIEF = 3.0


@dataclass(frozen=True)
class Foreseen:
    """The expected value and the variances about it: of the build's centre as far as it is known, between
    units, between clinics beyond what gauges declare, and between runs. Freedoms are in the same order but
    for the runs. `declared` is what the gauges in use declare on the average, as a variance.
    """

    value: float
    centre: float
    unit: float
    clinic: float
    run: float
    declared: float
    centre_freedom: float
    unit_freedom: float
    clinic_freedom: float

    def variance(self, systematic: float, random: float) -> float:
        """Of a reading by a gauge whose readings declare these standard uncertainties."""
        return self.centre + self.unit + self.clinic + systematic**2 + max(self.run, random**2)

    def freedom(self, systematic: float, random: float) -> float:
        """Degrees of freedom of that by Satterthwaite (JCGM 100, G.4); declared uncertainty is certain."""
        if self.centre_freedom == self.unit_freedom:  # both from the one spread between units
            parts = [(self.centre + self.unit, self.unit_freedom)]
        else:
            parts = [(self.centre, self.centre_freedom), (self.unit, self.unit_freedom)]
        doubt = sum(part**2 / known for part, known in (*parts, (self.clinic, self.clinic_freedom)))
        return min(self.variance(systematic, random) ** 2 / doubt, CERTAIN) if doubt > 0 else CERTAIN


def foresee(readings: Readings, metric: str) -> list[Foreseen]:
    """Return what to expect of each cell, a build each, from readings of one metric at one setting.

    One spread between units serves all builds unless they clearly differ (`differences.fit`). The usual
    spread of that metric counts as three degrees of freedom more, so that two units that happen to agree
    never make a prediction sure, and one unit makes a wide one.
    """
    builds = int(readings.cell.max()) + 1
    found = fit(readings)
    if found is None:
        return [_from_few(readings, metric, cell) for cell in range(builds)]
    return [_from_fit(found, metric, cell) for cell in range(builds)]


def usual_variance(metric: str, value: float) -> float:
    """Variance between units of a build as benches commonly find it. KeyError for a metric without one."""
    share, amount = USUAL_SPREAD[metric]
    return (share * value) ** 2 + amount**2


def _from_fit(found: Fit, metric: str, cell: int) -> Foreseen:
    of = found.readings
    builds = int(of.cell.max()) + 1
    centre = found.estimate(np.eye(builds)[cell])
    unit, freedom = _believed(*found.between_units(cell), metric, centre.value)
    declared = float(np.mean(of.leaning))
    # Few units may agree by chance: the centre is never surer than the spread put to use here lets it be.
    floor = unit / max(np.unique(of.unit[of.cell == cell]).size, 1)
    return Foreseen(
        value=centre.value,
        centre=max(centre.error**2, floor),
        unit=unit,
        clinic=max(float(np.mean(found.spread.group)) - declared, 0.0),
        run=float(np.mean(of.noise * of.runs)),
        declared=declared,
        centre_freedom=freedom if centre.error**2 < floor else min(centre.freedom, CERTAIN),
        unit_freedom=freedom,
        clinic_freedom=float(found.spread.group_freedom),
    )


def _from_few(of: Readings, metric: str, cell: int) -> Foreseen:
    """Where nothing tells how much units scatter: the usual spread alone."""
    here = of.cell == cell
    value = float(of.mean[here].mean())
    unit, freedom = _believed(0.0, 0.0, metric, value)
    units, groups = np.unique(of.unit[here]).size, np.unique(of.group[here]).size
    declared = float(np.mean(of.systematic[here] ** 2))
    run = float(np.mean(of.noise * of.runs))
    return Foreseen(
        value=value,
        centre=unit / units + declared / groups + run / float(of.runs[here].sum()),
        unit=unit,
        clinic=0.0,
        run=run,
        declared=declared,
        centre_freedom=freedom,
        unit_freedom=freedom,
        clinic_freedom=CERTAIN,
    )


def _believed(variance: float, freedom: float, metric: str, value: float) -> tuple[float, float]:
    known = freedom + _BELIEF
    return (freedom * variance + _BELIEF * usual_variance(metric, value)) / known, known


def middle_of(foreseen: Sequence[Foreseen]) -> Foreseen:
    """What is to be expected where a build is not known: the mean of the builds there are."""
    names = Foreseen.__dataclass_fields__
    return Foreseen(**{name: float(np.mean([getattr(one, name) for one in foreseen])) for name in names})
