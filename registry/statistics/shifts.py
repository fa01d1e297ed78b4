"""Which gauges read high or low against other clinics' gauges on the same builds at the same settings.

Readings are compared as logarithms, so that one gauge's wrong scale shows alike at every setting of every
model. Units differ too: a gauge is only as well known as the units it read, and a build only as well as the
units others read of it. All figures are relative: 0.08 is 8 %.
"""

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats

from registry.statistics.mixed import Cover
from registry.statistics.robust import Floats, algorithm_a, reined

# A unit set up anew on another bench repeats itself within about this: common practice, no published source.
SET_UP = 0.01
_LEAST_SPREAD = 0.005
_ROUNDS = 8

Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class Limits:
    """When a gauge is off: raised beyond `off` and `alarm`, clear below `clear` or above `calm`.

    Floors: `units` read, other `clinics` that read the same builds, and `agreeing`, the share of units that
    lean the same way by half of `off`.
    """

    off: float = 0.04
    clear: float = 0.03
    alarm: float = 0.01
    calm: float = 0.05
    units: int = 3
    clinics: int = 2
    agreeing: float = 0.7


LIMITS = Limits()


@dataclass(frozen=True)
class Shift:
    """One gauge against the others: `shift` with its 95 % interval, and what it rests on.

    `p` is the probability of as much by chance, times the number of gauges watched (Bonferroni).
    `deviations` holds, for each unit, how far it read from the same build at other clinics.
    """

    gauge: int
    shift: float
    low: float
    high: float
    p: float
    settings: int
    builds: int
    clinics: int
    agreeing: float
    deviations: dict[int, float]

    @property
    def units(self) -> int:
        """How many units the gauge read."""
        return len(self.deviations)

    def is_carried(self, limits: Limits = LIMITS) -> bool:
        """Whether there is enough to judge the gauge at all."""
        return self.units >= limits.units and self.clinics >= limits.clinics

    def is_off(self, limits: Limits = LIMITS) -> bool:
        """More than chance, more than matters, and confirmed by most units."""
        material = abs(self.shift) >= limits.off and self.agreeing >= limits.agreeing
        return self.is_carried(limits) and material and self.p < limits.alarm

    def is_clear(self, limits: Limits = LIMITS) -> bool:
        """Nothing is left to say against the gauge."""
        return not self.is_carried(limits) or abs(self.shift) < limits.clear or self.p > limits.calm


def gauge_shifts(pairs: pd.DataFrame, *, watched: int = 0, limits: Limits = LIMITS) -> list[Shift]:
    """Judge every gauge in a table from `pair_table`; `watched` is how many are watched in all, if more.

    A gauge found off is from then on free of the others, worst first, so that one wrong gauge does not make
    the right ones look wrong. Builds that a single clinic read tell nothing and are left out.
    """
    told = shared(pairs)
    off: list[int] = []
    while True:
        shifts = _judged(told, off, watched) if len(told) else []
        fresh = [s for s in shifts if s.gauge not in off and s.is_off(limits)]
        if not fresh:
            return shifts
        off.append(min(fresh, key=lambda s: (s.p, -abs(s.shift))).gauge)


def shared(pairs: pd.DataFrame) -> pd.DataFrame:
    clinics = pairs.groupby("build")["clinic"].transform("nunique")
    return pairs[clinics >= 2].reset_index(drop=True)


def _judged(pairs: pd.DataFrame, off: Collection[int], watched: int) -> list[Shift]:
    gauges = np.unique(pairs["gauge"].to_numpy())
    is_off = np.isin(gauges, list(off))
    tamed, spread = tamed_pairs(pairs)
    scatter = float(np.sqrt((pairs["systematic"] ** 2).mean()))
    for _ in range(_ROUNDS):
        centres, errors = _tested(pairs, tamed, (gauges, is_off), (spread, scatter))
        aside = _foremost(centres / errors, is_off)
        wider = _seen_scatter(*_tested(pairs, tamed, (gauges, aside), (spread, scatter)), aside, scatter)
        if wider <= 1.01 * scatter:
            break
        scatter = wider
    freedom = max(len(pairs) - pairs["build"].nunique() - int(is_off.sum()) - 1, 1)
    tests = max(watched, gauges.size)
    return [
        _shift(pairs, off, int(gauge), (centres[k], errors[k]), (freedom, tests))
        for k, gauge in enumerate(gauges)
    ]


def _tested(
    pairs: pd.DataFrame, y: Floats, watched: tuple[Floats, Flags], spreads: tuple[float, float]
) -> tuple[Floats, Floats]:
    """The mean-shift test of each gauge in the model: build + gauges that are off + unit + gauge + noise.

    For a column z of ones at the gauge's rows, the shift is z'Py / z'Pz with variance 1 / z'Pz, where P is
    the generalised least squares residual maker. Everything needed is in one matrix of cross products.
    """
    (gauges, is_off), (spread, scatter) = watched, spreads
    in_build = pairs["build"].to_numpy()[:, None] == np.unique(pairs["build"].to_numpy())
    at_gauge = pairs["gauge"].to_numpy()[:, None] == gauges
    cover = Cover(
        unit=pd.factorize(pairs["unit"])[0],
        group=np.searchsorted(gauges, pairs["gauge"].to_numpy()),
        noise=np.full(len(pairs), SET_UP**2),
        of_unit=spread**2,
        of_group=np.full(gauges.size, scatter**2),
    )
    columns = np.column_stack([in_build, at_gauge, y]).astype(float)
    products = columns.T @ cover.solve(columns)
    builds = in_build.shape[1]
    found = []
    for k in range(gauges.size):
        others = [builds + j for j in np.flatnonzero(is_off) if j != k]
        found.append(_mean_shift(products, [*range(builds), *others], builds + k))
    centres, errors = np.array(found).T
    return centres, errors


def _mean_shift(products: Floats, fixed: list[int], z: int) -> tuple[float, float]:
    """The shift and its standard error; no shift and no certainty where none can be told apart."""
    inner = products[z, fixed] @ np.linalg.pinv(products[np.ix_(fixed, fixed)])
    weight = float(products[z, z] - inner @ products[fixed, z])
    if weight <= 1e-9 * float(products[z, z]):
        return 0.0, float("inf")
    return float(products[z, -1] - inner @ products[fixed, -1]) / weight, weight**-0.5


def _foremost(scores: Floats, is_off: Flags) -> Flags:
    """The gauges that are off with the foremost quarter of the others: any of these may be off too."""
    among = np.flatnonzero(~is_off)
    first = among[np.argsort(-np.abs(scores[among]))[: -(-among.size // 4)]]
    aside = is_off.copy()
    aside[first] = True
    return aside


def _seen_scatter(centres: Floats, errors: Floats, aside: Flags, scatter: float) -> float:
    """Widen the scatter allowed to sound gauges where they are seen to scatter more than is allowed for.

    By the mean square of the scores of the nearest three quarters, of which there must be three. Normal ones
    come to 0.37; only what is beyond 1 counts, as so few gauges know their own scatter poorly.
    """
    near = ~aside & np.isfinite(errors)
    if near.sum() < 3:
        return scatter
    excess = float(np.mean((centres[near] / errors[near]) ** 2)) - 1.0
    return float(np.sqrt(scatter**2 + max(excess, 0.0) * float(np.median(errors[near] ** 2))))


def tamed_pairs(pairs: pd.DataFrame) -> tuple[Floats, float]:
    """Readings with wild units reined in about their build and gauge, and the spread between units.

    Gauges of fewer than three units get no leaning of their own here, so that they cannot hide a wild unit.
    """
    y = pairs["apart"].to_numpy(float)
    sizes = pairs.groupby("gauge")["unit"].transform("size").to_numpy()
    gauges = np.unique(pairs["gauge"].to_numpy()[sizes >= 3])
    in_build = pairs["build"].to_numpy()[:, None] == np.unique(pairs["build"].to_numpy())
    design = np.column_stack([in_build, pairs["gauge"].to_numpy()[:, None] == gauges]).astype(float)
    inverse = np.linalg.pinv(design.T @ design)
    freedom = max(len(y) - int(np.linalg.matrix_rank(design)), 1)
    tamed, spread = y, _LEAST_SPREAD
    for _ in range(3):
        fitted = design @ (inverse @ (design.T @ tamed))
        about = algorithm_a(y - fitted)[1] if len(y) > 1 else 0.0
        spread = max(about * float(np.sqrt((len(y) - 1) / freedom)), _LEAST_SPREAD)
        tamed = fitted + reined(y - fitted, spread, len(y))
    return tamed, spread


def _shift(
    pairs: pd.DataFrame,
    off: Collection[int],
    gauge: int,
    found: tuple[float, float],
    known: tuple[int, int],
) -> Shift:
    (centre, error), (freedom, tests) = found, known
    rows = pairs[pairs["gauge"] == gauge]
    elsewhere = pairs[(pairs["clinic"] != rows["clinic"].iloc[0]) & pairs["build"].isin(rows["build"])]
    sound = elsewhere[~elsewhere["gauge"].isin(list(off))]
    apart = (rows["apart"] - rows["build"].map(sound.groupby("build")["apart"].median())).to_numpy(float)
    half = float(stats.t.ppf(0.975, freedom)) * min(error, 10.0)
    known_apart = np.isfinite(apart)
    return Shift(
        gauge=gauge,
        shift=float(np.expm1(centre)),
        low=float(np.expm1(centre - half)),
        high=float(np.expm1(centre + half)),
        p=min(1.0, tests * 2 * float(stats.t.sf(abs(centre) / error, freedom))),
        settings=int(rows["settings"].sum()),
        builds=int(rows["build"].nunique()),
        clinics=int(sound["clinic"].nunique()),
        agreeing=float((np.sign(centre) * apart >= LIMITS.off / 2).sum() / max(known_apart.sum(), 1)),
        deviations=dict(
            zip(rows["unit"][known_apart].tolist(), np.expm1(apart[known_apart]).tolist(), strict=True)
        ),
    )
