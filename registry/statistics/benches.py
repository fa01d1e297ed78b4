"""How far each bench reads from the others, over everything all of them measured.

One mixed model for all pump models at once: reading = setting of a build + unit + bench + set-up, in
logarithms, so that offsets are relative: 0.02 is 2 %. A bench is a clinic, or one gauge of it. Units of its
own tell a bench's offset only as well as units differ; a unit that several benches read ties them together.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import sparse, special

from registry.statistics.designs import less_means, one_hot
from registry.statistics.mixed import Cover
from registry.statistics.robust import Floats, algorithm_a
from registry.statistics.shifts import SET_UP
from registry.statistics.taming import shared, tamed_pairs

# A bench's offset is told from this many units, and against this many other benches.
ENOUGH_UNITS, ENOUGH_OTHERS = 2, 2
_MOST = 50.0
# For how many degrees of freedom the usual scatter of set-ups counts beside what is seen of it.
_DRAWN_BY = 8


@dataclass(frozen=True)
class Offset:
    """One bench against the community: `offset` with its 95 % interval and standard uncertainty `u`.

    The community's own doubt is part of `u`: benches differ, and their mean is only as good as their number.
    `units` and `builds` are what it read that others read the builds of, `others` how many other benches.
    """

    bench: int
    offset: float
    low: float
    high: float
    u: float
    units: int
    builds: int
    others: int

    @property
    def is_carried(self) -> bool:
        """Whether there is enough to tell it at all."""
        return self.units >= ENOUGH_UNITS and self.others >= ENOUGH_OTHERS


@dataclass(frozen=True)
class Benches:
    """All offsets, by bench; `scatter` is the standard deviation between benches, robustly estimated."""

    offsets: tuple[Offset, ...]
    scatter: float


def bench_offsets(pairs: pd.DataFrame, by: str = "clinic") -> Benches:
    """Work out the offset of every clinic (`by="clinic"`) or gauge (`by="gauge"`).

    `pairs` is a table from `pairs.pair_table`. Builds that a single clinic read tell nothing and are left
    out. Wild units are reined in; all offsets follow from one least squares fit, as in a key comparison, and
    are counted from their robust mean (Algorithm A of ISO 13528), so that one wrong bench does not make the
    right ones look wrong. Benches that nothing ties together, through however many others, are held against
    those they are tied to. The scatter is what offsets spread by beyond their errors.
    """
    told = shared(pairs)
    if told.empty:
        return Benches((), 0.0)
    keys, code = np.unique(told[by].to_numpy(), return_inverse=True)
    values, spread = tamed_pairs(told)
    offsets, errors = _fitted(told, values, code, spread, set_up(told, values, code))
    island = _islands(told, code)
    declared = float(np.sqrt((told["systematic"] ** 2).mean()))
    scatter = max(_between(offsets, errors, island), declared / 2)
    centres = np.array([_centre(offsets[island == k]) for k in range(island.max() + 1)])
    of_centre = 1.25 * scatter / np.sqrt(np.bincount(island))
    freedom = max(len(told) - told["build"].nunique() - keys.size + island.max() + 1, 1)
    found = [
        _offset(
            told[code == k],
            told,
            (int(key), by),
            (offsets[k] - centres[island[k]], float(np.hypot(errors[k], of_centre[island[k]]))),
            freedom,
        )
        for k, key in enumerate(keys)
    ]
    return Benches(tuple(found), scatter)


def set_up(pairs: pd.DataFrame, values: Floats, code: np.ndarray) -> float:
    """What a unit differs by from one time it is set up to the next, a standard deviation.

    Seen where benches (`code`) read the same units, as what is left beside units and benches, robustly, with
    0.7 times as many degrees of freedom as rows tell; drawn towards the usual one, which stands where no unit
    tells.
    """
    unit = pd.factorize(pairs["unit"])[0]
    again = np.flatnonzero((np.bincount(unit) > 1)[unit])
    if not again.size:
        return SET_UP
    unit = np.unique(unit[again], return_inverse=True)[1]
    apart = less_means(np.column_stack([values, one_hot(code)])[again], unit)
    of_benches, _, rank, _ = np.linalg.lstsq(apart[:, 1:], apart[:, 0])
    free = again.size - int(unit.max()) - 1 - int(rank)
    if free < 1:
        return SET_UP
    left = apart[:, 0] - apart[:, 1:] @ of_benches
    seen, worth = algorithm_a(left)[1] ** 2 * again.size / free, 0.7 * free
    return float(np.sqrt((worth * seen + _DRAWN_BY * SET_UP**2) / (worth + _DRAWN_BY)))


def _fitted(
    pairs: pd.DataFrame, values: Floats, code: np.ndarray, spread: float, noise: float
) -> tuple[Floats, Floats]:
    """Offsets by generalised least squares, builds and benches fixed and units random, with their errors.

    Only differences can be told, so offsets add up to nought among benches that are tied to each other.
    """
    build = pairs["build"].to_numpy()
    builds = (build[:, None] == np.unique(build)).astype(float)
    benches = (code[:, None] == np.arange(code.max() + 1)).astype(float)
    cover = Cover(
        unit=pd.factorize(pairs["unit"])[0],
        group=np.zeros(len(pairs), np.intp),
        noise=np.full(len(pairs), noise**2),
        of_unit=spread**2,
        of_group=np.zeros(1),
    )
    solved = cover.solve(np.column_stack([builds, benches, values]))
    of_builds, of_benches = solved[:, : builds.shape[1]], solved[:, builds.shape[1] : -1]
    across = builds.T @ of_benches
    inner = np.linalg.pinv(builds.T @ of_builds, hermitian=True)
    normal = benches.T @ of_benches - across.T @ inner @ across
    right = benches.T @ solved[:, -1] - across.T @ (inner @ (builds.T @ solved[:, -1]))
    inverse = np.linalg.pinv(normal, rcond=1e-9, hermitian=True)
    return inverse @ right, np.sqrt(np.maximum(np.diag(inverse), 0.0))


def _islands(pairs: pd.DataFrame, code: np.ndarray) -> np.ndarray:
    """A number for each bench; alike where builds tie benches together."""
    build = pd.factorize(pairs["build"])[0]
    benches = int(code.max()) + 1
    size = benches + int(build.max()) + 1
    ties = sparse.coo_array((np.ones(code.size), (code, benches + build)), shape=(size, size))
    island = sparse.csgraph.connected_components(ties, directed=False)[1][:benches]
    return np.asarray(np.unique(island, return_inverse=True)[1])


def _centre(offsets: Floats) -> float:
    return algorithm_a(offsets)[0] if offsets.size > 2 else float(offsets.mean())


def _between(offsets: Floats, errors: Floats, island: np.ndarray) -> float:
    """The scatter of offsets beyond their errors, of the largest island; nought below three benches."""
    large = island == np.bincount(island).argmax()
    if large.sum() < 3:
        return 0.0
    seen = algorithm_a(offsets[large])[1] ** 2 - float(np.median(errors[large] ** 2))
    return float(np.sqrt(max(seen, 0.0)))


def _offset(
    own: pd.DataFrame,
    pairs: pd.DataFrame,
    bench: tuple[int, str],
    found: tuple[float, float],
    freedom: int,
) -> Offset:
    (key, by), (offset, error) = bench, found
    rivals = pairs.loc[(pairs[by] != key) & pairs["build"].isin(own["build"]), by]
    u = float(error)
    half = float(special.stdtrit(freedom, 0.975)) * u
    return Offset(
        bench=key,
        offset=float(np.expm1(offset)),
        low=float(np.expm1(offset - half)),
        high=float(np.expm1(min(offset + half, _MOST))),
        u=u,
        units=int(own["unit"].nunique()),
        builds=int(own["build"].nunique()),
        others=int(rivals.nunique()),
    )
