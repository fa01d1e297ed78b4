"""How often the intervals of benches' offsets hold what their gauges truly read off by."""

from collections.abc import Mapping
from types import MappingProxyType

import numpy as np
import pandas as pd

from registry.statistics.benches import bench_offsets
from registry.statistics.pairs import pair_table
from tests.trial.communities import VACUUM, Community, Shape, Spreads, nested_plan, read
from tests.trial.report import Check, Section, percent

_BUILDS, _SETTINGS = 4, 3
# Bench trials are slower than those of distributions, and each has an offset a clinic.
_SHARE = 5
_LEAST = 20.0
KINDS: Mapping[str, tuple[Spreads, Shape]] = MappingProxyType(
    {
        "own units only": (Spreads(), Shape(clinics=(4, 12), both=0.7)),
        "one unit a build sent round": (Spreads(), Shape(clinics=(4, 12), both=0.7, travelling=1)),
        "5 % wild units": (Spreads(wild=0.05), Shape(clinics=(4, 12), both=0.7)),
    }
)


def section(communities: int, seed: int = 1) -> Section:
    """The table of all kinds, and the promises."""
    rows, checks = [], []
    for place, (name, (spreads, shape)) in enumerate(KINDS.items()):
        number = max(communities // _SHARE, 1)
        held, width, error = tally(spreads, shape, number, seed + place)
        rows.append((name, str(number), str(held.size), percent(held.mean()), percent(width), percent(error)))
        checks.append(Check(f"{name}, offset", float(held.mean()), 0.93, 0.99))
    return Section(
        title="Benches: how often nominal 95 % intervals hold a gauge's true offset in vacuum",
        columns=("communities", "number", "offsets", "held", "width", "root mean square error"),
        rows=rows,
        checks=checks,
        notes=("Gauges truly differ in gain by 1.5 % and in zero by 2 mmHg: some 2 % together.",),
    )


def tally(spreads: Spreads, shape: Shape, communities: int, seed: int) -> tuple[np.ndarray, float, float]:
    """Whether each offset's interval held, the mean width, and the root mean square error."""
    rng = np.random.default_rng(seed)
    held, widths, errors = [], [], []
    for _ in range(communities):
        vacuum = np.sort(rng.uniform(100, 280, (_BUILDS, _SETTINGS)))
        plan = nested_plan(rng, shape, cells=_BUILDS)
        community = read(rng, plan, rate=np.full_like(vacuum, 70.0), vacuum=vacuum, spreads=spreads)
        truth = true_offsets(community)
        for one in bench_offsets(pair_table(readings(community))).offsets:
            if one.is_carried:
                held.append(one.low <= truth[one.bench] <= one.high)
                widths.append(one.high - one.low)
                errors.append(one.offset - truth[one.bench])
    return np.array(held), float(np.mean(widths)), float(np.sqrt(np.mean(np.square(errors))))


def readings(community: Community) -> pd.DataFrame:
    """The community's vacuums as a table that `pair_table` takes; each clinic has one gauge.

    As for alerts and benches, what lies near nought is left out: a wild unit may make no vacuum at all.
    """
    frame = community.frame
    frame = frame[(frame["metric"] == VACUUM) & (frame["mean"] > _LEAST)]
    return pd.DataFrame(
        {
            "cell": frame["cell"] * _SETTINGS + frame["setting"],
            "build": frame["cell"],
            "gauge": frame["clinic"],
            "clinic": frame["clinic"],
            "unit": frame["unit"],
            "log": np.log(frame["mean"]),
            "systematic": frame["systematic"] / frame["mean"],
        }
    )


def true_offsets(community: Community) -> dict[int, float]:
    """What each gauge truly reads off by, relative, on average over the settings it read."""
    frame = community.frame[community.frame["metric"] == VACUUM]
    level = community.truth[VACUUM][frame["cell"], frame["setting"]]
    clinic = frame["clinic"].to_numpy()
    off = np.log(community.gain[clinic] + community.zero[clinic] / level)
    return {int(k): float(np.expm1(off[clinic == k].mean())) for k in np.unique(clinic)}
