"""The rows of a comparison as documents write them: figures, verdicts, and what would tell more."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np

from registry.answers.comparing.contrasts import UNFITTED, Contrasts, Row
from registry.answers.comparing.practice import crossing
from registry.answers.narrowing import Margins
from registry.answers.setting import Setting, told_bands
from registry.answers.wording import figure, figures
from registry.statistics.contrasted import Contrasted
from registry.statistics.equivalence import UNTOLD, Margin, Verdicts, judge
from registry.statistics.power import needed
from registry.statistics.robust import Floats

_RATE = "cycle_rate"
_SHOWN = (*Setting._fields, "units_old", "units_new", "clinics_old", "clinics_new", "clinics_both")
_FIRST_STEP = {"units": 3, "clinics": 2, "towards": None}
_NOTHING = dict.fromkeys(
    ("low", "high", "percent_low", "percent_high", "margin", "p_different", "p_same", "same_low", "same_high")
)
_ANYWHERE = (float("-inf"), float("inf"))


def judged_rows(
    found: Contrasts, margins: Margins, *, of_units: bool, build: int | None = None
) -> Iterator[dict[str, Any]]:
    """Yield each row of a comparison, judged among all that were fitted.

    With `of_units`, units are themselves asked about: no further units of one build make one known better, so
    that nothing is said of how many would tell. `build` is the place of the side, 0 or 1, that one unit is
    held against.
    """
    of, rows = found.of_fitted, found.fitted
    judged = judge(of, _margins(rows, margins), len(rows))
    told = _judged(found, judged) | ({} if of_units else {"needs": _needs(of, judged)})
    if build is not None:
        told["spreads"] = _spreads(judged.difference.value, of.between[:, build])
    names = (*_SHOWN, *told)
    values = zip(*told.values(), strict=True)
    for row in found.rows:
        shown = _shown(row, found.labels)
        if row.fit == UNFITTED:
            yield dict(zip(_SHOWN, shown, strict=True)) | _unjudged(row, of_units=of_units)
        else:
            yield dict(zip(names, shown + next(values), strict=True))


def _margins(rows: Sequence[Row], margins: Margins) -> list[Margin | None]:
    """The margin of each row."""
    measured = [(row.setting.metric, row.setting.unit) for row in rows]
    known = {of: margins.of(*of) for of in set(measured)}
    return [known[of] for of in measured]


def _needs(of: Contrasted, judged: Verdicts) -> list[dict[str, Any] | None]:
    """What would tell each setting that cannot be told yet."""
    told: list[dict[str, Any] | None] = [None] * len(judged.verdict)
    open_ = np.array([place for place, verdict in enumerate(judged.verdict) if verdict == UNTOLD], np.intp)
    found = needed(of.some(open_), judged.difference.some(open_), judged.margin[open_], len(told))
    for place, need in zip(open_.tolist(), found, strict=True):
        told[place] = vars(need) if need else None
    return told


def _shown(row: Row, labels: Mapping[int, str]) -> tuple[Any, ...]:
    """Where a row belongs, and what was measured there."""
    mode, programme, level, side, rig, power, _, metric, unit = row.setting
    where = (mode, programme, level, side, labels[rig], power, told_bands(row.bands))
    return *where, metric, unit, *row.units, *row.clinics


def _judged(found: Contrasts, judged: Verdicts) -> dict[str, list[Any]]:
    """What was found of the rows that were fitted, by columns."""
    told = _figures(judged)
    limits = zip(judged.verdict, told["margin"], judged.beyond.tolist(), strict=True)
    return {
        **told,
        "verdict": judged.verdict,
        "matters": [_matters(verdict, margin, beyond=beyond) for verdict, margin, beyond in limits],
        "needs": [None] * len(found.fitted),
        "bands": _bands(found, judged),
        "spreads": [None] * len(found.fitted),
        "set_aside": found.of_fitted.aside.astype(int).tolist(),
        "by_elevation": [_by_elevation(row) for row in found.fitted],
    }


def _figures(judged: Verdicts) -> dict[str, list[Any]]:
    """The columns of figures."""
    columns = {
        "old": judged.old.value,
        "new": judged.new.value,
        "difference": judged.difference.value,
        "low": judged.low,
        "high": judged.high,
        "percent": 100 * judged.share,
        "percent_low": 100 * judged.share_low,
        "percent_high": 100 * judged.share_high,
        "margin": judged.margin,
        "p_different": judged.p_apart,
        "p_same": judged.p_same,
        "same_low": judged.same_low,
        "same_high": judged.same_high,
    }
    return dict(zip(columns, figures(np.stack(list(columns.values()))), strict=True))


def _matters(verdict: str, margin: float | None, *, beyond: bool) -> str | None:
    """Whether the difference is more than the margin: surely, perhaps, surely not; None without a margin."""
    if margin is None:
        return None
    if beyond:
        return "yes"
    return "no" if verdict == "same" else "perhaps"


def _bands(found: Contrasts, judged: Verdicts) -> list[Any]:
    """The bands of common practice that rates lie in, None for other metrics."""
    told: list[Any] = [None] * len(found.fitted)
    places = [place for place, row in enumerate(found.fitted) if row.setting.metric == _RATE]
    ends = []
    for side in (judged.old, judged.new):
        low, high = side.some(np.array(places, np.intp)).interval()
        ends.append(zip(low.tolist(), high.tolist(), strict=True))
    for place, *of in zip(places, *ends, strict=True):
        told[place] = crossing(float(judged.old.value[place]), float(judged.new.value[place]), *of)
    return told


def _spreads(difference: Floats, between: Floats) -> list[float | None]:
    """Differences in standard deviations between units; None where units are not seen to differ."""
    told = between > 0
    return figures(np.where(told, difference / np.sqrt(np.where(told, between, 1.0)), np.nan))


def _by_elevation(row: Row) -> list[dict[str, Any]]:
    """The difference within each band, with its interval by itself, where there are several."""
    if not row.within:
        return []
    return [
        {"elevation": band, "difference": figure(value), "low": figure(low), "high": figure(high)}
        for band, (value, low, high) in zip(row.bands, row.within, strict=True)
    ]


def _unjudged(row: Row, *, of_units: bool) -> dict[str, Any]:
    """A setting at which nothing tells how much units scatter: both values, and no more than that."""
    old, new = row.typical or (0.0, 0.0)
    return {
        **_NOTHING,
        "old": figure(old),
        "new": figure(new),
        "difference": figure(new - old),
        "percent": figure(100 * (new - old) / old) if old > 0 else None,
        "verdict": UNTOLD,
        "matters": None,
        "needs": None if of_units else dict(_FIRST_STEP),
        "bands": crossing(old, new, _ANYWHERE, _ANYWHERE) if row.setting.metric == _RATE else None,
        "spreads": None,
        "set_aside": 0,
        "by_elevation": [],
    }
