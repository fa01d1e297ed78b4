"""Communities that measured one build, or two under one name, with all that may be mistaken for a change.

Units come in the order they were made and are brought to clinics at random. A table has the columns that the
statistics of unlisted revisions take.
"""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

Floats = NDArray[np.float64]
RATE, PEAK, MEAN = "cycle_rate", "peak_vacuum", "mean_vacuum"
SETTINGS = 5
# A gauge's part of the mean is as large as of the peak; so is most of what a unit does.
_MEAN_OF_PEAK, _OWN_MEAN = 0.45, 0.3
# However wild a unit, it pulls some.
_LEAST = 20.0


@dataclass(frozen=True)
class Trouble:
    """What is there besides a change of build, as shares and standard deviations.

    `wild` units are off by 5 to 20 spreads. `recalibrated` clinics have another gain and zero from some unit
    on, and nobody says so. `sticky` units lose 5 to 20 % of vacuum; in `sticky_clinic` of communities so does
    a quarter of the units of one clinic. `gauge_off` and `clinic_off`: from some unit on one clinic's gauge
    reads so much more or less, or all that one clinic measures is so much less, rate and vacuum. `scatter`
    widens the spread between units; `heavy` gives it the tails of Student's t with 4 degrees of freedom.
    """

    wild: float = 0.03
    recalibrated: float = 0.3
    sticky: float = 0.03
    sticky_clinic: float = 0.2
    gauge_off: float = 0.0
    clinic_off: float = 0.0
    scatter: float = 1.0
    heavy: bool = False


@dataclass(frozen=True)
class Truth:
    """A change after the first `before` units: rate times `rate`, vacuum by `vacuum` mmHg.

    `mixed`: the share of units changed in no order, instead. `drift`: the relative change of vacuum from the
    first unit to the last.
    """

    before: int | None = None
    rate: float = 1.0
    vacuum: float = 0.0
    mixed: float = 0.0
    drift: float = 0.0


@dataclass(frozen=True)
class Community:
    """The table, with unit codes in the order of arrival, each unit's clinic, and which are `changed`."""

    table: pd.DataFrame
    clinic: NDArray[np.intp]
    truth: Truth
    changed: NDArray[np.bool_]

    def first(self, units: int) -> pd.DataFrame:
        """What had been read when so many units had arrived."""
        return self.table[self.table["unit"] < units]

    @property
    def units(self) -> int:
        """How many there are."""
        return self.clinic.size


def crowd(rng: np.random.Generator) -> NDArray[np.intp]:
    """The clinics of units in order of arrival: 3 to 12 clinics, 1 to 8 units each."""
    clinics = int(rng.integers(3, 12, endpoint=True))
    clinic = np.repeat(np.arange(clinics), rng.integers(1, 8, clinics, endpoint=True))
    rng.shuffle(clinic)
    return clinic


def two_sides(rng: np.random.Generator, clinics: int = 3, units: int = 6) -> NDArray[np.intp]:
    """As many units on either side, from the same clinics, spread over them as evenly as it goes."""
    side = np.arange(units) % clinics
    return np.concatenate([rng.permutation(side), rng.permutation(side)])


def community(
    rng: np.random.Generator, clinic: NDArray[np.intp], trouble: Trouble, truth: Truth | None = None
) -> Community:
    """Draw one community."""
    truth = truth or Truth()
    units = clinic.size
    runs = rng.integers(1, 6, units, endpoint=True)
    does = _measured(rng, clinic)
    rate, vacuum = np.sort(rng.uniform(45, 110, SETTINGS)), np.sort(rng.uniform(100, 280, SETTINGS))
    changed = _changed(rng, units, truth)
    rates = (
        rate
        * (1 + 0.02 * trouble.scatter * _effects(rng, units, trouble))
        * np.where(changed, truth.rate, 1)[:, None]
    )
    own = 5.0 * trouble.scatter * _effects(rng, units, trouble)
    peak = (vacuum + own + np.where(changed, truth.vacuum, 0)[:, None]) * (
        1 + truth.drift * np.linspace(0, 1, units)[:, None]
    )
    peak = peak * (1 - _sticky(rng, clinic, trouble))[:, None]
    mean = _MEAN_OF_PEAK * (peak + _OWN_MEAN * 5.0 * rng.normal(size=(units, 1)))
    gain, zero = _gauges(rng, clinic, trouble)
    rates, gain = _off(rng, clinic, trouble, rates, gain)
    clock = rng.normal(1, 1e-4, clinic.max() + 1)[clinic][:, None]
    read = {RATE: rates * clock, PEAK: peak * gain + zero, MEAN: mean * gain + zero * _MEAN_OF_PEAK}
    repeat = {RATE: 0.007 * rate, PEAK: np.full(SETTINGS, 2.0), MEAN: np.full(SETTINGS, 1.0)}
    frames = [_frame(rng, metric, clinic, runs, does, read[metric], repeat[metric]) for metric in read]
    return Community(pd.concat(frames, ignore_index=True), clinic, truth, changed)


def _measured(rng: np.random.Generator, clinic: NDArray[np.intp]) -> np.ndarray:
    """Which settings each unit was run at: clinics keep to 2 to all of them, and one in ten is left out."""
    of_clinic = np.zeros((int(clinic.max()) + 1, SETTINGS), bool)
    for row in of_clinic:
        row[rng.choice(SETTINGS, int(rng.integers(2, SETTINGS, endpoint=True)), replace=False)] = True
    does = of_clinic[clinic] & (rng.random((clinic.size, SETTINGS)) > 0.1)
    does[~does.any(axis=1)] = of_clinic[clinic][~does.any(axis=1)]
    return does


def _changed(rng: np.random.Generator, units: int, truth: Truth) -> np.ndarray:
    if truth.mixed:
        return rng.random(units) < truth.mixed
    return np.arange(units) >= (units if truth.before is None else truth.before)


def _effects(rng: np.random.Generator, units: int, trouble: Trouble) -> Floats:
    """Units' own effects in spreads, alike by 0.7 over settings; wild ones are wild at all settings."""
    whole = rng.standard_t(4, (units, 1)) / 2**0.5 if trouble.heavy else rng.normal(size=(units, 1))
    own = 0.7**0.5 * whole + 0.3**0.5 * rng.normal(size=(units, SETTINGS))
    off = (rng.random(units) < trouble.wild) * rng.choice([-1.0, 1.0], units) * rng.uniform(5, 20, units)
    return own + off[:, None] / trouble.scatter


def _sticky(rng: np.random.Generator, clinic: NDArray[np.intp], trouble: Trouble) -> Floats:
    share = np.full(clinic.size, trouble.sticky)
    if rng.random() < trouble.sticky_clinic:
        share[clinic == rng.choice(clinic)] = 0.25
    return (rng.random(clinic.size) < share) * rng.uniform(0.05, 0.2, clinic.size)


def _gauges(rng: np.random.Generator, clinic: NDArray[np.intp], trouble: Trouble) -> tuple[Floats, Floats]:
    """Each unit's gauge gain and zero, of its clinic and time."""
    clinics = int(clinic.max()) + 1
    gains, zeros = rng.normal(1, 0.015, (clinics, 2)), rng.normal(0, 2.0, (clinics, 2))
    since = np.where(
        rng.random(clinics) < trouble.recalibrated, rng.integers(0, clinic.size, clinics), clinic.size
    )
    late = (np.arange(clinic.size) >= since[clinic]).astype(np.intp)
    return gains[clinic, late][:, None], zeros[clinic, late][:, None]


def _off(
    rng: np.random.Generator, clinic: NDArray[np.intp], trouble: Trouble, rates: Floats, gain: Floats
) -> tuple[Floats, Floats]:
    """One clinic's gauge, or all it measures, off from one of its own units on."""
    where = rng.choice(clinic)
    own = np.flatnonzero(clinic == where)
    late = (clinic == where) & (np.arange(clinic.size) >= rng.choice(own))
    by = rng.choice([-1.0, 1.0]) * trouble.gauge_off - trouble.clinic_off
    rates = rates * np.where(late, 1 - trouble.clinic_off, 1.0)[:, None]
    return rates, gain * np.where(late, 1 + by, 1.0)[:, None]


def _frame(
    rng: np.random.Generator,
    metric: str,
    clinic: NDArray[np.intp],
    runs: NDArray[np.int64],
    does: np.ndarray,
    value: Floats,
    repeat: Floats,
) -> pd.DataFrame:
    unit, setting = np.nonzero(does)
    times, spread = runs[unit], repeat[setting]
    mean = value[unit, setting] + rng.normal(size=unit.size) * spread / np.sqrt(times)
    squares = np.where(times > 1, rng.chisquare(np.maximum(times - 1, 1)), 0.0) * spread**2
    place = {RATE: 0, PEAK: 1, MEAN: 2}[metric]
    return pd.DataFrame(
        {
            "unit": unit,
            "clinic": clinic[unit],
            "gauge": clinic[unit],
            "cell": setting + SETTINGS * place,
            "metric": metric,
            "mode": "expression",
            "mean": np.maximum(mean, _LEAST),
            "runs": times,
            "squares": squares,
        }
    )


def without_trouble(trouble: Trouble) -> Trouble:
    """The same with gauges that keep still and units that are sound."""
    return replace(trouble, wild=0.0, recalibrated=0.0, sticky=0.0, sticky_clinic=0.0)
