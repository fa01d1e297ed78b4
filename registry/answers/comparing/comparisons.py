"""Two builds side by side, setting by setting: same, different, or cannot tell yet."""

from datetime import datetime
from math import isnan
from typing import Any, Unpack

from registry.answers import cautions
from registry.answers.comparing.contrasts import Contrasts
from registry.answers.comparing.contrasts_kept import contrasts_of
from registry.answers.comparing.instead import what_there_is
from registry.answers.comparing.judged import judged_rows
from registry.answers.comparing.practice import reach
from registry.answers.comparing.sides import Sides, find_sides
from registry.answers.comparing.spreads import Scattered, of_intervals, of_scatter, of_strata
from registry.answers.comparing.telling import left_out_of, says_compared
from registry.answers.comparing.unlike import of_builds, unlike
from registry.answers.ground import NO_GROUND, Ground
from registry.answers.narrowing import Filters, Margins, chosen_margins, narrowed
from registry.answers.stamp import chosen_moment, stamp
from registry.answers.wording import dated
from registry.statistics.equivalence import overall


def answer_comparison(  # noqa: PLR0913 - one parameter a filter of the question
    model: str,
    old: str,
    new: str,
    *,
    rig: str | None = None,
    rate_margin: float | None = None,
    vacuum_margin: float | None = None,
    edition: int | None = None,
    as_of: datetime | None = None,
    ground: Ground = NO_GROUND,
    **filters: Unpack[Filters],
) -> dict[str, Any]:
    """Return the `comparisons` document: new less old at each setting and metric.

    `edition` is the current one unless said; with `as_of`, a past time, the answer of then is made again.

    `old` and `new` are a revision's label, `unit:SERIAL` or `firmware:TAG`. Without `metric` the main ones
    are compared (cycle rate, peak and residual vacuum); `all` takes all. Only like is compared with like:
    mode, programme, level, side, rig and power each part the settings, and what only one side was measured
    at is in `left_out`. Elevation is compared band by band: `difference` is the mean of those within the
    bands that both were measured in, each weighted by what it tells, and `by_elevation` holds them singly.
    Clinics that measured both with one gauge are their own control.

    Where one unit is held against a build, `spreads` is the difference over the standard deviation between
    units of that build: sound units seldom lie two of them out.

    Intervals hold all differences together at 95 % (Bonferroni over `family` settings and metrics). Margins:
    `rate_margin` in per cent, `vacuum_margin` in mmHg; a metric without a margin is never called same. Same
    is judged setting by setting, by `same_low` and `same_high`, which are narrower.

    Raises UnknownPumpModel, and Invalid on the field at fault.
    """
    pump_model = ground.pump_model(model)
    margins = chosen_margins(rate_margin, vacuum_margin)
    number, moment = ground.chosen_edition(edition), chosen_moment(as_of)
    stamped = stamp(number, moment)
    asked = narrowed(number, rig, **filters)
    sides = find_sides(pump_model, old, new)
    found = contrasts_of(sides, asked, moment)
    both = all(side.settings for side in found.sides)
    instead = "" if both or moment else what_there_is(sides, asked)
    told = _told(pump_model.name, sides, found, margins, moment, instead)
    return {
        "model": pump_model.name,
        **told,
        **stamped,
        "cautions": [
            *of_intervals(told["settings"]),
            *of_builds(sides, moment),
            *_of_these(sides.names, found),
            *cautions.COMPARISONS,
            *cautions.again(moment),
        ],
    }


def _told(
    model: str, sides: Sides, found: Contrasts, margins: Margins, moment: datetime | None, instead: str
) -> dict[str, Any]:
    names, (before, after) = sides.names, found.sides
    settings = list(judged_rows(found, margins, of_units=sides.of_units, build=sides.build_of_unit))
    still = reach(before, after, margins.vacuum_mmhg, found.labels) if settings else []
    left_out = left_out_of(before, after, names, found.labels)
    return {
        "old": names[0],
        "new": names[1],
        "verdict": overall([row["verdict"] for row in settings]),
        "settings": settings,
        "family": len(found.fitted),
        "margins": margins.as_dict(),
        "reach": still,
        "left_out": left_out,
        "says": dated(says_compared(model, names, settings, still, left_out, instead), moment),
    }


def _of_these(names: tuple[str, str], found: Contrasts) -> list[str]:
    """The cautions that these two sides call for."""
    of = found.of_fitted
    units = [row.units for row in found.fitted]
    scattered = zip((of.unlike > 0).tolist(), of.between.tolist(), units, strict=True)
    return [
        *unlike(*found.sides, names, found.heights),
        *of_strata([p for p in of.strata.tolist() if not isnan(p)]),
        *of_scatter([Scattered._make(one) for one in scattered], names),
    ]
