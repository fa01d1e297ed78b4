"""How often the intervals of benches' offsets hold what their gauges truly read off by."""

from collections.abc import Mapping
from dataclasses import dataclass
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


@dataclass(frozen=True)
class Kind:
    """A kind of community. `set_up` is what a unit's vacuum differs by, relative, each time a bench sets it
    up anew, beyond what its runs scatter by."""

    spreads: Spreads
    shape: Shape
    set_up: float = 0.0


_OWN, _SENT = Shape(clinics=(4, 12), both=0.7), Shape(clinics=(4, 12), both=0.7, travelling=1)
KINDS: Mapping[str, Kind] = MappingProxyType(
    {
        "own units only": Kind(Spreads(), _OWN),
        "one unit a build sent round": Kind(Spreads(), _SENT),
        "5 % wild units": Kind(Spreads(wild=0.05), _OWN),
        "sent round, set-ups scatter by 3 %": Kind(Spreads(), _SENT, set_up=0.03),
    }
)


def section(communities: int, seed: int = 1) -> Section:
    """The table of all kinds, and the promises."""
    rows, checks = [], []
    for place, (name, kind) in enumerate(KINDS.items()):
        number = max(communities // _SHARE, 1)
        held, width, error = tally(kind, number, seed + place)
        rows.append((name, str(number), str(held.size), percent(held.mean()), percent(width), percent(error)))
        checks.append(Check(f"{name}, offset", float(held.mean()), 0.93, 0.99))
    return Section(
        title="Benches: how often nominal 95 % intervals hold a gauge's true offset in vacuum",
        columns=("communities", "number", "offsets", "held", "width", "root mean square error"),
        rows=rows,
        checks=checks,
        notes=("Gauges truly differ in gain by 1.5 % and in zero by 2 mmHg: some 2 % together.",),
    )


def tally(kind: Kind, communities: int, seed: int) -> tuple[np.ndarray, float, float]:
    """Whether each offset's interval held, the mean width, and the root mean square error."""
    rng = np.random.default_rng(seed)
    held, widths, errors = [], [], []
    for _ in range(communities):
        vacuum = np.sort(rng.uniform(100, 280, (_BUILDS, _SETTINGS)))
        plan = nested_plan(rng, kind.shape, cells=_BUILDS)
        community = read(rng, plan, rate=np.full_like(vacuum, 70.0), vacuum=vacuum, spreads=kind.spreads)
        truth = true_offsets(community)
        frame = set_up(rng, readings(community), kind.set_up)
        for one in bench_offsets(pair_table(frame)).offsets:
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


def set_up(rng: np.random.Generator, frame: pd.DataFrame, by: float) -> pd.DataFrame:
    """The readings with what each setting up of a unit at a bench puts into all of them there."""
    sitting = frame.groupby(["unit", "clinic"]).ngroup().to_numpy()
    return frame.assign(log=frame["log"] + rng.normal(0.0, by, sitting.max() + 1)[sitting])


def true_offsets(community: Community) -> dict[int, float]:
    """What each gauge truly reads off by, relative, on average over the settings it read."""
    frame = community.frame[community.frame["metric"] == VACUUM]
    level = community.truth[VACUUM][frame["cell"], frame["setting"]]
    clinic = frame["clinic"].to_numpy()
    off = np.log(community.gain[clinic] + community.zero[clinic] / level)
    return {int(k): float(np.expm1(off[clinic == k].mean())) for k in np.unique(clinic)}
