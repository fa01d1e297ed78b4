"""How often the next unit meets a need that it is said to meet, where metrics go together or do not."""

from collections.abc import Iterator, Mapping
from types import MappingProxyType

import numpy as np
import pandas as pd

from registry.statistics.correlated import correlations
from registry.statistics.differences import Fit, fit_all
from registry.statistics.matching import Need, chance
from tests.trial.communities import MEAN, RATE, VACUUM, Community, Shape, Spreads, nested_plan, read, readings
from tests.trial.report import ENOUGH, Check, Section, percent

KINDS: Mapping[str, Spreads] = MappingProxyType(
    {
        "sound": Spreads(),
        "5 % wild units": Spreads(wild=0.05),
        **{f"bound by {bound:g}": Spreads(bound=bound) for bound in (-0.9, -0.5, 0.5, 0.9)},
        "bound by -0.9, 5 % wild": Spreads(bound=-0.9, wild=0.05),
    }
)
# With ends on one side what a correlation does to chances does not cancel.
_RATE, _PEAK, _MEAN = (
    {metric: Need(low, None)} for metric, low in ((RATE, 70.0), (VACUUM, 220.0), (MEAN, 100.0))
)
NEEDS: Mapping[str, Mapping[str, Need]] = MappingProxyType(
    {
        "rate, peak": _RATE | _PEAK,
        "peak, mean": _PEAK | _MEAN,
        "all three": _RATE | _PEAK | _MEAN,
        "rate, peak in a range": _RATE | {VACUUM: Need(200.0, 240.0)},
    }
)
Stated = dict[str, tuple[np.ndarray, np.ndarray]]
_LEVELS = np.array([[0.0, 1.0, 2.0]])
_AHEAD = 20


def stated(spreads: Spreads, communities: int, seed: int) -> Stated:
    """Stated chances that the next unit meets each of NEEDS, and the share of units that do."""
    rng = np.random.default_rng(seed)
    found: dict[str, list[tuple[float, float]]] = {name: [] for name in NEEDS}
    for _ in range(communities):
        # How far centres lie from their needs goes together half: up to three spreads of a next unit, about.
        rate, vacuum, mean = rng.uniform(-1, 1) + rng.uniform(-1, 1, 3)
        community = read(
            rng,
            nested_plan(rng, Shape(both=1.0)),
            rate=70 + 2.3 * rate + 4 * _LEVELS,
            vacuum=220 + 10 * vacuum + 20 * _LEVELS,
            mean=100 + 9 * mean + 10 * _LEVELS,
            spreads=spreads,
        )
        fits, together = _answered(community)
        if any(fitted is None for fitted in fits.values()):
            continue
        ahead = {metric: fitted.ahead(0) for metric, fitted in fits.items() if fitted is not None}
        next_units = community.aheads(rng, 0, 0, _AHEAD)
        for name, needs in NEEDS.items():
            of = [list(ahead).index(metric) for metric in needs]
            said = chance([ahead[metric] for metric in needs], list(needs.values()), together[np.ix_(of, of)])
            found[name].append((said, _met(next_units, needs)))
    return {name: (np.array(of)[:, 0], np.array(of)[:, 1]) for name, of in found.items()}


def _answered(community: Community) -> tuple[dict[str, Fit | None], np.ndarray]:
    """The fits of all metrics at the first setting, and how metrics go together there, as answers have it."""
    frame, metrics = community.frame, list(community.truth)
    tables = dict(iter(frame.groupby(["setting", "metric"], sort=False)))
    fits = dict(zip(tables, fit_all([readings(rows) for rows in tables.values()]), strict=True))
    sound = pd.concat([_sound(rows, fits[key]) for key, rows in tables.items()])
    means = sound.pivot_table(index=["setting", "unit", "clinic"], columns="metric", values="mean")[metrics]
    levels = [means.loc[setting].to_numpy(float) for setting in range(_LEVELS.size)]
    return {metric: fits[0, metric] for metric in metrics}, correlations(levels)[0]


def _sound(rows: pd.DataFrame, fitted: Fit | None) -> pd.DataFrame:
    """Rows without the units that were set aside."""
    codes, _ = pd.factorize(rows["unit"])
    return rows if fitted is None else rows[~np.isin(codes, fitted.wild)]


def _met(ahead: Mapping[str, np.ndarray], needs: Mapping[str, Need]) -> float:
    """The share of next units that meet all needs."""
    each = [
        (need.ends[0] <= ahead[metric]) & (ahead[metric] <= need.ends[1]) for metric, need in needs.items()
    ]
    return float(np.all(each, axis=0).mean())


def reliability(chances: np.ndarray, met: np.ndarray, bins: int) -> Iterator[tuple[float, float, int]]:
    """Mean stated chance, share met, and how many, by equal parts of the stated chance."""
    place = np.minimum((chances * bins).astype(int), bins - 1)
    for one in range(bins):
        there = place == one
        if there.any():
            yield float(chances[there].mean()), float(met[there].mean()), int(there.sum())


def section(communities: int, seed: int = 1) -> Section:
    """Stated chances beside the share of next units that meet the need."""
    rows, checks = [], []
    for place, (kind, spreads) in enumerate(KINDS.items()):
        for needs, of in stated(spreads, communities, seed + place).items():
            # A tenth of 2,000 communities is off by 0.015 by chance, one of so many tables by 0.05: fifths.
            table = list(reliability(*of, bins=5 if communities >= ENOUGH else 2))
            rows += [(kind, needs, percent(said), percent(share), str(size)) for said, share, size in table]
            worst = max(abs(said - share) for said, share, size in table if size >= communities // 20)
            checks.append(Check(f"{kind}, {needs}, furthest a stated chance is off", worst, 0.0, 0.05))
    return Section(
        title="Settings: stated chance that the next unit meets the need, and share that do",
        columns=("communities", "needs", "stated", "met", "number"),
        rows=rows,
        checks=checks,
        notes=(
            "A row a fifth of the stated chance, or a half where communities are few.",
            f"{_AHEAD} next units, sound ones, a community.",
            "bound: correlation over units of rate with peak vacuum, and of that with mean vacuum.",
        ),
    )
