"""Which units stand outside their build, once what their gauge does is taken out.

Works on a table from `pair_table` for one metric. All figures are relative: 0.12 is 12 %.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import special

from registry.statistics.robust import Floats, algorithm_a, middles
from registry.statistics.vouching import gauges_shown

Codes = NDArray[np.intp]

_LEAST_SPREAD = 0.005
# Few units know their own spread poorly. It is drawn towards what units of one build usually differ by, as if
# so many values had told that: common practice, no published source. How it is drawn: Smyth (2004),
# Statistical Applications in Genetics and Molecular Biology 3, article 3, with the prior given.
_USUAL_SPREAD, _USUAL_FREEDOM = 0.03, 8


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
    """One unit against its build: how far `apart`, less what its gauge does by what it read others, over how
    many spreads of the build's units (`score`), the chance of it for this unit alone (`p`), and what it rests
    on; `explained` is what the gauge does, `tests` how many are looked at, `seen_alike` whether two clinics
    saw it stand apart alike."""

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
    explained: float = 0.0

    def is_carried(self, limits: UnitLimits = UNIT_LIMITS) -> bool:
        """Whether there is enough to judge the unit, and neither its gauge nor its build explains it."""
        enough = self.fellows >= limits.fellows and self.clinics >= limits.clinics
        return enough and self.gauge_cleared and not self.build_in_doubt

    def is_material(self, limits: UnitLimits = UNIT_LIMITS) -> bool:
        """More than matters, on enough to judge by."""
        return self.is_carried(limits) and abs(self.apart) >= limits.outside

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
    """What is known of all units at once: vouched for, how much of it others read with their gauges show too,
    seen alike, how many clinics read fellows."""

    cleared: NDArray[np.bool_]
    explained: Floats
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
    shown = gauges_shown(rows.gauge, rows.at, units.apart[rows.unit], limits.cleared)
    known = _Known(
        _cleared(rows, shown, units.apart.size, limits) | alike,
        np.where(alike, 0.0, _explained(rows, shown, units.apart)),
        alike,
        _clinics(rows, units),
        max(tests, units.key.size),
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


def _cleared(rows: _Rows, shown: Floats, units: int, limits: UnitLimits) -> NDArray[np.bool_]:
    """Units of which some gauge is vouched for by other units."""
    sound = np.abs(shown) < limits.outside / 2
    cleared: NDArray[np.bool_] = np.bincount(rows.unit, sound, units) > 0
    return cleared


def _explained(rows: _Rows, shown: Floats, apart: Floats) -> Floats:
    """How much of what each unit is apart its gauges do, as they read others apart the same way."""
    way = np.sign(apart)
    theirs = np.maximum(way[rows.unit] * np.nan_to_num(shown), 0.0)
    mean = np.bincount(rows.unit, theirs) / np.bincount(rows.unit)
    return way * np.minimum(mean, np.abs(apart))


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
    # The build's centre is itself uncertain; its median needs pi/2 of a mean's variance.
    wide = spread * float(np.sqrt(1 + np.pi / 2 / fellows))
    in_doubt = _is_in_doubt(
        units.apart[mine], (wide, freedom), max(spread / pooled, 1.0), known.tests, limits
    )
    apart = units.apart[mine] - known.explained[mine]
    scores = apart / wide
    chances = 2 * special.stdtr(freedom, -np.abs(scores))
    return [
        Deviant(
            unit=int(units.key[k]),
            build=int(units.build[k]),
            apart=float(np.expm1(left)),
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
            explained=float(np.expm1(known.explained[k])),
        )
        for k, left, score, chance in zip(mine, apart, scores, chances, strict=True)
    ]


def _is_in_doubt(
    apart: Floats, spread: tuple[float, int], wider: float, tests: int, limits: UnitLimits
) -> bool:
    """A build of two kinds spreads so widely itself that nothing in it stands out: so many units do when they
    are held against all builds, than whose units these lie `wider` apart."""
    scores, freedom = np.abs(apart) / spread[0], spread[1]
    usual = 2 * special.stdtr(freedom, -scores * wider)
    far = (np.abs(np.expm1(apart)) >= limits.outside) & (tests * usual < limits.alarm)
    return bool(far.sum() > max(1, limits.few * apart.size))
