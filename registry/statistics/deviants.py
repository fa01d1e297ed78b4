"""Which units stand outside their build, once what their gauge does is taken out.

Works on a table from `pair_table` for one metric. All figures are relative: 0.12 is 12 %.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import stats

from registry.statistics.robust import Floats, algorithm_a

_LEAST_SPREAD = 0.005
# Few units know their own spread poorly. It is drawn towards what units of one build usually differ by, as if
# so many values had told that: common practice, no published source. How it is drawn: Smyth (2004),
# Statistical Applications in Genetics and Molecular Biology 3, article 3, with the prior given.
_USUAL_SPREAD, _USUAL_FREEDOM = 0.03, 4


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
    chance of it for this unit alone (`p`), and what it rests on; `tests` is how many are looked at,
    `seen_alike` whether two clinics saw it stand apart alike."""

    unit: int
    build: int
    apart: float
    score: float
    p: float
    tests: int
    fellows: int
    clinics: int
    gauges: int
    settings: int
    gauge_cleared: bool
    build_in_doubt: bool
    seen_alike: bool = False

    def is_carried(self, limits: UnitLimits = UNIT_LIMITS) -> bool:
        """Whether there is enough to judge the unit, and neither its gauge nor its build explains it."""
        enough = self.fellows >= limits.fellows and self.clinics >= limits.clinics
        return enough and self.gauge_cleared and not self.build_in_doubt

    def is_material(self, limits: UnitLimits = UNIT_LIMITS) -> bool:
        """More than matters, on enough to judge by."""
        return self.is_carried(limits) and abs(self.apart) >= limits.outside

    def is_outside(self, limits: UnitLimits = UNIT_LIMITS) -> bool:
        """More than matters, and more than chance does among all that are looked at (Bonferroni)."""
        return self.is_material(limits) and self.p * self.tests < limits.alarm

    def is_clear(self, limits: UnitLimits = UNIT_LIMITS) -> bool:
        """Nothing is left to say against the unit."""
        return abs(self.apart) < limits.clear or self.p * self.tests > limits.calm

    def lacks(self, limits: UnitLimits = UNIT_LIMITS) -> str:
        """What is missing to judge the unit, in words; empty where nothing is."""
        short = [
            f"{want - has} more {what}"
            for want, has, what in (
                (limits.fellows, self.fellows, "units of its build"),
                (limits.clinics, self.clinics, "clinics that measured its build"),
            )
            if has < want
        ]
        if short:
            return f"needs {' and '.join(short)}"
        if not self.gauge_cleared:
            return f"needs {limits.cleared} other units read with its gauge, or a second clinic that reads it"
        return "many units of its build stand apart: the build may be two" if self.build_in_doubt else ""


def deviants(
    pairs: pd.DataFrame, leaning: Floats | float = 0.0, *, tests: int = 0, limits: UnitLimits = UNIT_LIMITS
) -> list[Deviant]:
    """Judge every unit of a `pair_table`. `leaning` is what each row's gauge is known to be off by, as a
    logarithm; `tests` is how many units and metrics are looked at, if more than these units."""
    table = pairs.assign(apart=pairs["apart"] - leaning)
    by_unit = table.groupby("unit", as_index=False).agg(
        build=("build", "first"),
        apart=("apart", "mean"),
        gauges=("gauge", "nunique"),
        settings=("settings", "sum"),
    )
    by_unit["apart"] -= by_unit.groupby("build")["apart"].transform("median")
    spreads = _spreads(by_unit)
    alike = _seen_alike(table, limits)
    cleared = _cleared(table, by_unit, limits) | alike
    tests = max(tests, len(by_unit))
    return [
        deviant
        for _, rows in by_unit.groupby("build")
        for deviant in _of_build(
            rows, table, (cleared, alike), (*spreads[rows["build"].iloc[0]], tests), limits
        )
    ]


def _spreads(by_unit: pd.DataFrame) -> dict[int, tuple[float, int, float]]:
    """Each build's robust spread of units with its degrees of freedom, and the spread over all builds.

    A build's own is drawn towards that of all builds of the table, and that one towards what is usual.
    """
    sizes = by_unit.groupby("build")["unit"].transform("size")
    several = by_unit[sizes >= 3]
    usual = (_USUAL_SPREAD, 0)
    pooled = _drawn(several["apart"].to_numpy(float), several["build"].nunique(), usual)
    build, apart = by_unit["build"].to_numpy(np.int64), by_unit["apart"].to_numpy(float)
    return {one: (*_drawn(apart[build == one], 1, pooled), pooled[0]) for one in np.unique(build).tolist()}


def _drawn(apart: Floats, builds: int, towards: tuple[float, int]) -> tuple[float, int]:
    """A spread drawn towards another as if `_USUAL_FREEDOM` values had told that one."""
    freedom = apart.size - builds
    if freedom < 2:
        return towards[0], _USUAL_FREEDOM
    spread = algorithm_a(apart)[1] * float(np.sqrt((apart.size - 1) / freedom))
    # What is pulled in tells less: the robust spread is worth about 0.7 times as many values.
    worth = max(int(0.7 * freedom), 1)
    drawn = np.sqrt((worth * spread**2 + _USUAL_FREEDOM * towards[0] ** 2) / (worth + _USUAL_FREEDOM))
    return max(float(drawn), _LEAST_SPREAD), worth + _USUAL_FREEDOM


def _cleared(table: pd.DataFrame, by_unit: pd.DataFrame, limits: UnitLimits) -> set[int]:
    """Units of which some gauge is vouched for by other units."""
    apart = by_unit.set_index("unit")["apart"]
    found: set[int] = set()
    for _, rows in table.groupby("gauge"):
        units = rows["unit"].unique()
        if len(units) > 3 * limits.cleared and abs(float(apart[units].median())) < limits.outside / 4:
            found.update(int(unit) for unit in units)  # no one unit bears on the median of so many
            continue
        for unit in units:
            others = apart[units[units != unit]]
            if len(others) >= limits.cleared and abs(float(others.median())) < limits.outside / 2:
                found.add(int(unit))
    return found


def _seen_alike(table: pd.DataFrame, limits: UnitLimits) -> set[int]:
    """Units that two clinics saw stand apart the same way."""
    by_unit_and_clinic = table.groupby(["unit", "clinic"])["apart"].mean()
    seen = by_unit_and_clinic.groupby("unit").agg(["size", "min", "max"])
    alike = (seen["min"] > limits.outside / 2) | (seen["max"] < -limits.outside / 2)
    return {int(unit) for unit in seen.index[alike & (seen["size"] >= 2)]}


def _of_build(
    rows: pd.DataFrame,
    table: pd.DataFrame,
    told: tuple[set[int], set[int]],
    known: tuple[float, int, float, int],
    limits: UnitLimits,
) -> list[Deviant]:
    (cleared, alike), (spread, freedom, pooled, tests) = told, known
    fellows = len(rows) - 1
    if fellows < 1:
        return []
    clinics = table[table["build"] == rows["build"].iloc[0]].groupby("unit")["clinic"].agg(set).to_dict()
    # The build's centre is itself uncertain; its median needs pi/2 of a mean's variance.
    error = spread * float(np.sqrt(1 + np.pi / 2 / fellows))
    scores = rows["apart"].to_numpy(float) / error
    chances = 2 * stats.t.sf(np.abs(scores), freedom)
    far = np.abs(np.expm1(rows["apart"].to_numpy(float))) >= limits.outside
    # A build of two kinds spreads so widely itself that nothing in it stands out: hold it against all builds.
    usual = 2 * stats.t.sf(np.abs(scores) * max(spread / pooled, 1.0), freedom)
    wide = far & (tests * usual < limits.alarm)
    in_doubt = bool(wide.sum() > max(1, limits.few * len(rows)))
    return [
        Deviant(
            unit=int(unit),
            build=int(rows["build"].iloc[0]),
            apart=float(np.expm1(rows["apart"].iloc[k])),
            score=float(scores[k]),
            p=float(chances[k]),
            tests=tests,
            fellows=fellows,
            clinics=len(set().union(*(seen for other, seen in clinics.items() if other != unit))),
            gauges=int(rows["gauges"].iloc[k]),
            settings=int(rows["settings"].iloc[k]),
            gauge_cleared=int(unit) in cleared,
            build_in_doubt=in_doubt,
            seen_alike=int(unit) in alike,
        )
        for k, unit in enumerate(rows["unit"].to_numpy())
    ]
