"""Which units stand outside their build, once what their gauge does is taken out.

Works on a table from `pair_table` for one metric. All figures are relative: 0.12 is 12 %.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import special

from registry.statistics.robust import Floats, algorithm_a, middles

Codes = NDArray[np.intp]

_LEAST_SPREAD = 0.005
# Few units know their own spread poorly. It is drawn towards what units of one build usually differ by, as if
# so many values had told that: common practice, no published source. How it is drawn: Smyth (2004),
# Statistical Applications in Genetics and Molecular Biology 3, article 3, with the prior given.
_USUAL_SPREAD, _USUAL_FREEDOM = 0.03, 8
# How many of the units that a gauge read with one or after it are asked whether the gauge was sound then.
_VOUCHING = 9


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
            return f"needs {limits.cleared} units more read with its gauge since, or a second clinic"
        return "many units of its build stand apart: the build may be two" if self.build_in_doubt else ""


@dataclass(frozen=True)
class _Rows:
    """Pairs as columns with units, builds and clinics counted from 0, in order of their keys."""

    unit: Codes
    clinic: Codes
    gauge: Codes
    apart: Floats
    at: Floats


@dataclass(frozen=True)
class _Units:
    """Units in order of their keys: what each is apart from its build, whose key is `build`."""

    key: NDArray[np.int64]
    build: NDArray[np.int64]
    apart: Floats
    gauges: Codes
    settings: Codes


@dataclass(frozen=True)
class _Known:
    """What is known of all units at once: vouched for, seen alike, how many clinics read fellows."""

    cleared: NDArray[np.bool_]
    alike: NDArray[np.bool_]
    clinics: Codes
    tests: int


def deviants(
    pairs: pd.DataFrame, leaning: Floats | float = 0.0, *, tests: int = 0, limits: UnitLimits = UNIT_LIMITS
) -> list[Deviant]:
    """Judge every unit of a `pair_table`, with `first` besides where known: when each pair was first read.

    `leaning` is what each row's gauge is known to be off by, as a logarithm; `tests` is how many units and
    metrics are looked at, if more than these units.
    """
    if not len(pairs):
        return []
    unit, clinic, gauge = (
        np.unique(pairs[name], return_inverse=True)[1] for name in ("unit", "clinic", "gauge")
    )
    at = pairs["first"].to_numpy(float) if "first" in pairs else np.zeros(len(pairs))
    rows = _Rows(unit, clinic, gauge, pairs["apart"].to_numpy(float) - leaning, at)
    units = _units(pairs, rows)
    alike = _seen_alike(rows, limits)
    known = _Known(
        _cleared(rows, units.apart, limits) | alike, alike, _clinics(rows, units), max(tests, units.key.size)
    )
    pooled, spreads = _spreads(units)
    return [
        deviant
        for build, (spread, freedom) in spreads.items()
        for deviant in _of_build(
            units, np.flatnonzero(units.build == build), known, (spread, freedom, pooled), limits
        )
    ]


def _units(pairs: pd.DataFrame, rows: _Rows) -> _Units:
    key, first = np.unique(pairs["unit"].to_numpy(np.int64), return_index=True)
    build = pairs["build"].to_numpy(np.int64)[first]
    apart = np.bincount(rows.unit, rows.apart) / np.bincount(rows.unit)
    settings = np.bincount(rows.unit, pairs["settings"].to_numpy(float)).astype(np.intp)
    code = np.unique(build, return_inverse=True)[1]
    gauges = _different(rows.unit, rows.gauge, key.size)
    return _Units(key, build, apart - middles(apart, code)[code], gauges, settings)


def _different(of: Codes, what: Codes, size: int) -> Codes:
    """How many different ones each has."""
    seen = np.unique(np.stack([of, what]), axis=1)
    return np.bincount(seen[0], minlength=size)


def _clinics(rows: _Rows, units: _Units) -> Codes:
    """How many clinics read other units of each unit's build."""
    build = np.unique(units.build, return_inverse=True)[1]
    read, clinic = np.unique(np.stack([rows.unit, rows.clinic]), axis=1)
    held = np.zeros((int(build.max()) + 1, int(clinic.max()) + 1), np.intp)
    np.add.at(held, (build[read], clinic), 1)
    alone = np.bincount(read, held[build[read], clinic] == 1, units.key.size).astype(np.intp)
    total: Codes = (held > 0).sum(axis=1)[build] - alone
    return total


def _spreads(units: _Units) -> tuple[float, dict[int, tuple[float, int]]]:
    """The spread over all builds, and each build's robust spread of units with its degrees of freedom.

    A build's own is drawn towards that of all builds of the table, and that one towards what is usual.
    """
    builds, code, sizes = np.unique(units.build, return_inverse=True, return_counts=True)
    several = sizes[code] >= 3
    usual = (_USUAL_SPREAD, 0)
    pooled = _drawn(units.apart[several], int((sizes >= 3).sum()), usual)
    return pooled[0], {
        int(build): _drawn(units.apart[code == k], 1, pooled) for k, build in enumerate(builds)
    }


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


def _cleared(rows: _Rows, apart: Floats, limits: UnitLimits) -> NDArray[np.bool_]:
    """Units of which some gauge is vouched for by other units, read with it then or later.

    What a gauge read before says nothing of what it has gone off by since.
    """
    found = np.zeros(apart.size, bool)
    order = np.lexsort((rows.at, rows.gauge))
    for mine in np.split(order, _starts(rows.gauge[order])):
        values, at = apart[rows.unit[mine]], rows.at[mine]
        for k, first in enumerate(np.searchsorted(at, at).tolist()):
            asked = np.arange(first, min(first + _VOUCHING + 1, at.size))
            others = values[asked[asked != k]]
            if others.size >= limits.cleared and abs(float(np.median(others))) < limits.outside / 2:
                found[rows.unit[mine[k]]] = True
    return found


def _starts(ordered: Codes) -> Codes:
    """Where a new one begins."""
    return np.flatnonzero(np.diff(ordered)) + 1


def _seen_alike(rows: _Rows, limits: UnitLimits) -> NDArray[np.bool_]:
    """Units that two clinics saw stand apart the same way."""
    width = int(rows.clinic.max()) + 1
    seen, code = np.unique(rows.unit * width + rows.clinic, return_inverse=True)
    unit, means = seen // width, np.bincount(code, rows.apart) / np.bincount(code)
    clinics = np.bincount(unit)
    high = np.bincount(unit, means > limits.outside / 2)
    low = np.bincount(unit, means < -limits.outside / 2)
    alike: NDArray[np.bool_] = (clinics >= 2) & ((high == clinics) | (low == clinics))
    return alike


def _of_build(
    units: _Units, mine: Codes, known: _Known, spreads: tuple[float, int, float], limits: UnitLimits
) -> list[Deviant]:
    spread, freedom, pooled = spreads
    fellows = mine.size - 1
    if fellows < 1:
        return []
    apart = units.apart[mine]
    # The build's centre is itself uncertain; its median needs pi/2 of a mean's variance.
    scores = apart / (spread * float(np.sqrt(1 + np.pi / 2 / fellows)))
    chances = 2 * special.stdtr(freedom, -np.abs(scores))
    far = np.abs(np.expm1(apart)) >= limits.outside
    # A build of two kinds spreads so widely itself that nothing in it stands out: hold it against all builds.
    usual = 2 * special.stdtr(freedom, -np.abs(scores) * max(spread / pooled, 1.0))
    wide = far & (known.tests * usual < limits.alarm)
    in_doubt = bool(wide.sum() > max(1, limits.few * mine.size))
    return [
        Deviant(
            unit=int(units.key[k]),
            build=int(units.build[k]),
            apart=float(np.expm1(units.apart[k])),
            score=float(score),
            p=float(chance),
            tests=known.tests,
            fellows=fellows,
            clinics=int(known.clinics[k]),
            gauges=int(units.gauges[k]),
            settings=int(units.settings[k]),
            gauge_cleared=bool(known.cleared[k]),
            build_in_doubt=in_doubt,
            seen_alike=bool(known.alike[k]),
        )
        for k, score, chance in zip(mine, scores, chances, strict=True)
    ]
