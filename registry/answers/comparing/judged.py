"""The rows of a comparison as documents write them: figures, verdicts, and what would tell more."""

from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np

from registry.answers.comparing.contrasts import UNFITTED, Contrasts, Row
from registry.answers.comparing.practice import crossing
from registry.answers.narrowing import Margins
from registry.answers.setting import Setting, told_bands
from registry.answers.wording import figure, figures
from registry.statistics.contrasted import Contrasted
from registry.statistics.equivalence import UNTOLD, Verdicts, judge
from registry.statistics.estimates import Estimates
from registry.statistics.power import Needed, needed

_RATE = "cycle_rate"
_SHOWN = (*Setting._fields, "units_old", "units_new", "clinics_old", "clinics_new", "clinics_both")
_FIRST_STEP = {"units": 3, "clinics": 2, "towards": None}
_NOTHING = dict.fromkeys(
    ("low", "high", "percent_low", "percent_high", "margin", "p_different", "p_same", "same_low", "same_high")
)
_ANYWHERE = (float("-inf"), float("inf"))


def judged_rows(found: Contrasts, margins: Margins, *, of_units: bool) -> Iterator[dict[str, Any]]:
    """Yield each row of a comparison, judged among all that were fitted.

    With `of_units`, units are themselves asked about: no further units of one build make one known better, so
    that nothing is said of how many would tell.
    """
    of, rows = found.of_fitted, found.fitted
    judged = judge(of, [margins.of(row.setting.metric, row.setting.unit) for row in rows], len(rows))
    needs = _needs(of, judged, len(rows)) if not of_units else {}
    judged_of = dict(zip(map(id, rows), _judged(found, judged, needs), strict=True))
    for row in found.rows:
        shown = _shown(row, found.labels)
        shown |= _unjudged(row, of_units=of_units) if row.fit == UNFITTED else judged_of[id(row)]
        yield shown


def _needs(of: Contrasted, judged: Verdicts, family: int) -> dict[int, Needed | None]:
    """What would tell each setting that cannot be told yet, by its place."""
    open_ = np.array([place for place, verdict in enumerate(judged.verdict) if verdict == UNTOLD], np.intp)
    values = (judged.difference.value, judged.difference.error, judged.difference.freedom)
    difference = Estimates(*(column[open_] for column in values))
    found = needed(of.some(open_), difference, judged.margin[open_], family)
    return dict(zip(open_.tolist(), found, strict=True))


def _shown(row: Row, labels: Mapping[int, str]) -> dict[str, Any]:
    """Where a row belongs, and what was measured there."""
    mode, programme, level, side, rig, power, _, metric, unit = row.setting
    where = (mode, programme, level, side, labels[rig], power, told_bands(row.bands))
    return dict(zip(_SHOWN, (*where, metric, unit, *row.units, *row.clinics), strict=True))


def _judged(
    found: Contrasts, judged: Verdicts, needs: Mapping[int, Needed | None]
) -> Iterator[dict[str, Any]]:
    """What was found of each row that was fitted."""
    names, told = _figures(judged)
    bands = _bands(found, judged)
    aside, beyond = found.of_fitted.aside.tolist(), judged.beyond.tolist()
    for place, (row, values) in enumerate(zip(found.fitted, zip(*told, strict=True), strict=True)):
        need, verdict = needs.get(place), judged.verdict[place]
        shown: dict[str, Any] = dict(zip(names, values, strict=True))
        shown |= {
            "verdict": verdict,
            "matters": None if shown["margin"] is None else _matters(verdict, beyond=beyond[place]),
            "needs": vars(need) if need else None,
            "bands": bands.get(place),
            "set_aside": int(aside[place]),
            "by_elevation": [_band(*told) for told in zip(row.bands, row.within, strict=False)],
        }
        yield shown


def _figures(judged: Verdicts) -> tuple[list[str], list[list[float | None]]]:
    """Names of columns, and their figures."""
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
    return list(columns), figures(np.stack(list(columns.values())))


def _matters(verdict: str, *, beyond: bool) -> str:
    """Whether the difference is more than the margin: surely, perhaps, surely not."""
    if beyond:
        return "yes"
    return "no" if verdict == "same" else "perhaps"


def _bands(found: Contrasts, judged: Verdicts) -> dict[int, Any]:
    """The bands of common practice that rates lie in, by the place of the row."""
    places = [place for place, row in enumerate(found.fitted) if row.setting.metric == _RATE]
    ends = []
    for side in (judged.old, judged.new):
        of = Estimates(side.value[places], side.error[places], side.freedom[places])
        ends.append(list(zip(*(end.tolist() for end in of.interval()), strict=True)))
    return {
        place: crossing(float(judged.old.value[place]), float(judged.new.value[place]), old, new)
        for place, old, new in zip(places, *ends, strict=True)
    }


def _band(elevation: str, of: tuple[float, float, float]) -> dict[str, Any]:
    """The difference within one band, with its interval by itself."""
    value, low, high = of
    return {"elevation": elevation, "difference": figure(value), "low": figure(low), "high": figure(high)}


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
        "set_aside": 0,
        "by_elevation": [],
    }
