"""Numbered versions of the metric definitions. A measurement belongs to one edition and never changes it."""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

CURRENT_EDITION = 1


@dataclass(frozen=True)
class MetricDefinition:
    """One metric: its unit and what it promises, in words."""

    name: str
    unit: str
    definition: str


@dataclass(frozen=True)
class Edition:
    """A set of metric definitions with the limits that belong to them.

    Fractions are of the swing between low and high level: `low_reference` and `high_reference` bound a
    transition, `mid_reference` starts a cycle, `arm` and `fire` are the hysteresis about it. A cycle is lost
    where it lacks more than `hold_deficit` of its neighbours' vacuum over the hold, or reaches the high level
    and still lacks `pulse_deficit` over the whole pulse. Cycles are settled within `settled_within` of the
    final peak.
    """

    number: int
    metrics: Mapping[str, MetricDefinition]
    low_reference: float = 0.1
    mid_reference: float = 0.5
    high_reference: float = 0.9
    arm: float = 0.3
    fire: float = 0.7
    hold_deficit: float = 0.25
    pulse_deficit: float = 0.12
    settled_within: float = 0.05


_FIRST = (
    MetricDefinition("cycle_rate", "cycles/min", "60 / mean period over the cycles that are not loss events"),
    MetricDefinition(
        "peak_vacuum", "mmHg", "median over cycles of the cycle's high level, free of noise bias"
    ),
    MetricDefinition("residual_vacuum", "mmHg", "median over cycles of the cycle's low level, likewise"),
    MetricDefinition("vacuum_swing", "mmHg", "peak less residual"),
    MetricDefinition("mean_vacuum", "mmHg", "time average over whole cycles"),
    MetricDefinition("pull_time", "s", "10 % to 90 % transition duration of the rise"),
    MetricDefinition("release_time", "s", "90 % to 10 % transition duration of the fall"),
    MetricDefinition("hold_time", "s", "time above 90 % of the swing"),
    MetricDefinition("duty_factor", "1", "share of the period above mid-reference"),
    MetricDefinition(
        "peak_pull_rate",
        "mmHg/s",
        "steepest slope of the common cycle's rise, at a corner that of its far side",
    ),
    MetricDefinition("peak_spread", "1", "coefficient of variation of the peak over cycles"),
    MetricDefinition("period_spread", "1", "coefficient of variation of the period over cycles"),
    MetricDefinition("peak_drift", "mmHg/min", "slope of cycle peaks over the run"),
    MetricDefinition("loss_rate", "per 100 cycles", "loss events"),
    MetricDefinition(
        "settling_time",
        "s",
        "from the first cycle until peaks, evened over five cycles, stay within 5 % of their final one (the "
        "median of the last quarter); between cycles by an exponential course; 0 where no stretch outside is "
        "clear of the cycles' own scatter",
    ),
)

EDITIONS: Mapping[int, Edition] = MappingProxyType(
    {1: Edition(1, MappingProxyType({metric.name: metric for metric in _FIRST}))}
)


def edition_of(number: int) -> Edition:
    """The edition of that number; KeyError with the known numbers when there is none."""
    try:
        return EDITIONS[number]
    except KeyError:
        known = ", ".join(map(str, EDITIONS))
        raise KeyError(f"no edition {number}; known: {known}") from None
