"""Which units stand outside their build, once what their gauge does is taken out.

Works on a table from `pair_table` for one metric. All figures are relative: 0.12 is 12 %.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import stats

from registry.statistics.robust import Floats, algorithm_a

_LEAST_SPREAD = 0.005


@dataclass(frozen=True)
class UnitLimits:
    """When a unit is outside: raised beyond `outside` and `alarm`, clear below `clear` or above `calm`.

    Floors: `fellows`, other units of the build, and other `clinics` that measured them. `cleared` is how many
    other units must vouch for a gauge. Where more than `few` of a build stand outside, it is the build that
    is not one build, and no unit is named.
    """

    outside: float = 0.10
    clear: float = 0.08
    alarm: float = 0.01
    calm: float = 0.05
    fellows: int = 4
    clinics: int = 2
    cleared: int = 2
    few: float = 0.2


UNIT_LIMITS = UnitLimits()


@dataclass(frozen=True)
class Deviant:
    """One unit against its build: how far `apart`, over how many spreads of the build's units (`score`), the
    chance of it times the number of units looked at (`p`), and what it rests on."""

    unit: int
    build: int
    apart: float
    score: float
    p: float
    fellows: int
    clinics: int
    gauges: int
    settings: int
    gauge_cleared: bool
    build_in_doubt: bool

    def is_carried(self, limits: UnitLimits = UNIT_LIMITS) -> bool:
        """Whether there is enough to judge the unit, and neither its gauge nor its build explains it."""
        enough = self.fellows >= limits.fellows and self.clinics >= limits.clinics
        return enough and self.gauge_cleared and not self.build_in_doubt

    def is_outside(self, limits: UnitLimits = UNIT_LIMITS) -> bool:
        """More than chance and more than matters."""
        return self.is_carried(limits) and abs(self.apart) >= limits.outside and self.p < limits.alarm

    def is_clear(self, limits: UnitLimits = UNIT_LIMITS) -> bool:
        """Nothing is left to say against the unit."""
        return not self.is_carried(limits) or abs(self.apart) < limits.clear or self.p > limits.calm


def deviants(
    pairs: pd.DataFrame, leaning: Mapping[int, float], *, tests: int = 0, limits: UnitLimits = UNIT_LIMITS
) -> list[Deviant]:
    """Judge every unit of a `pair_table`. `leaning` holds the relative shift of each gauge known to be off;
    `tests` is how many units and metrics are looked at in all, if more than there are units here."""
    table = pairs.assign(apart=pairs["apart"] - _logs(pairs["gauge"], leaning))
    by_unit = table.groupby("unit", as_index=False).agg(
        build=("build", "first"),
        apart=("apart", "mean"),
        gauges=("gauge", "nunique"),
        settings=("settings", "sum"),
    )
    by_unit["apart"] -= by_unit.groupby("build")["apart"].transform("median")
    spread, freedom = _spread(by_unit)
    cleared = _cleared(table, by_unit, limits)
    tests = max(tests, len(by_unit))
    return [
        deviant
        for _, rows in by_unit.groupby("build")
        for deviant in _of_build(rows, table, cleared, (spread, freedom, tests), limits)
    ]


def _logs(gauges: pd.Series, leaning: Mapping[int, float]) -> Floats:
    return np.log1p(gauges.map(leaning).fillna(0.0).to_numpy(float))


def _spread(by_unit: pd.DataFrame) -> tuple[float, int]:
    """Robust spread of units about their build, pooled over builds of three units and more."""
    sizes = by_unit.groupby("build")["unit"].transform("size")
    several = by_unit[sizes >= 3]
    freedom = len(several) - several["build"].nunique()
    if freedom < 2:
        return float("inf"), 1
    spread = algorithm_a(several["apart"])[1] * float(np.sqrt((len(several) - 1) / freedom))
    # What is pulled in tells less: the robust spread is worth about 0.7 times as many values.
    return max(spread, _LEAST_SPREAD), max(int(0.7 * freedom), 1)


def _cleared(table: pd.DataFrame, by_unit: pd.DataFrame, limits: UnitLimits) -> set[int]:
    """Units of which some gauge is vouched for by other units, or that two clinics saw alike."""
    apart = by_unit.set_index("unit")["apart"]
    found: set[int] = set()
    for _, rows in table.groupby("gauge"):
        units = rows["unit"].unique()
        for unit in units:
            others = apart[units[units != unit]]
            if len(others) >= limits.cleared and abs(float(others.median())) < limits.outside / 2:
                found.add(int(unit))
    by_unit_and_clinic = table.groupby(["unit", "clinic"])["apart"].mean()
    seen = by_unit_and_clinic.groupby("unit").agg(["size", "min", "max"])
    alike = (seen["min"] > limits.outside / 2) | (seen["max"] < -limits.outside / 2)
    return found | {int(unit) for unit in seen.index[alike & (seen["size"] >= 2)]}


def _of_build(
    rows: pd.DataFrame,
    table: pd.DataFrame,
    cleared: set[int],
    known: tuple[float, int, int],
    limits: UnitLimits,
) -> list[Deviant]:
    spread, freedom, tests = known
    fellows = len(rows) - 1
    if fellows < 1:
        return []
    clinics = table[table["build"] == rows["build"].iloc[0]].groupby("unit")["clinic"].agg(set).to_dict()
    # The build's centre is itself uncertain; its median needs pi/2 of a mean's variance.
    error = spread * float(np.sqrt(1 + np.pi / 2 / fellows))
    scores = rows["apart"].to_numpy(float) / error
    chances = np.minimum(1.0, tests * 2 * stats.t.sf(np.abs(scores), freedom))
    wide = (np.abs(np.expm1(rows["apart"].to_numpy(float))) >= limits.outside) & (chances < limits.alarm)
    in_doubt = bool(wide.sum() > max(1, limits.few * len(rows)))
    return [
        Deviant(
            unit=int(unit),
            build=int(rows["build"].iloc[0]),
            apart=float(np.expm1(rows["apart"].iloc[k])),
            score=float(scores[k]),
            p=float(chances[k]),
            fellows=fellows,
            clinics=len(set().union(*(seen for other, seen in clinics.items() if other != unit))),
            gauges=int(rows["gauges"].iloc[k]),
            settings=int(rows["settings"].iloc[k]),
            gauge_cleared=int(unit) in cleared,
            build_in_doubt=in_doubt,
        )
        for k, unit in enumerate(rows["unit"].to_numpy())
    ]
