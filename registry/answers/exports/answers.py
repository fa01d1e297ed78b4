"""The answers that can be exported: one entry an answer."""

from collections.abc import Iterator, Sequence
from operator import itemgetter
from typing import Any

from registry.answers import cautions
from registry.answers.comparing.comparisons import answer_comparison
from registry.answers.comparing.swaps import answer_swap
from registry.answers.distributions.answer import answer_distributions
from registry.answers.exports.answertable import (
    EDITION,
    MODEL,
    SETTING,
    AnswerTable,
    Asked,
    Document,
)
from registry.answers.exports.columns import Column, count, flag, inner, joined, number, text
from registry.answers.matching.length import MOST
from registry.answers.matching.needs import ALIASES
from registry.answers.matching.settings import answer_settings
from registry.answers.serials.answer import answer_serials
from registry.waveform.editions import CURRENT_EDITION, edition_of


def _rest_of_serials(document: Document, asked: Asked) -> Asked | None:
    following, last = document["next_first"], document["understood"]["last"]
    return None if following is None else {**asked, "first": following, "last": last}


_SERIALS = AnswerTable(
    "serials",
    "one row a stretch of serial numbers of which one thing is known",
    answer_serials,
    "spans",
    cautions.SERIALS,
    (
        MODEL,
        EDITION,
        text("first", "first serial number of the stretch"),
        text("last", "last serial number of the stretch"),
        flag("first_excluded", "the stretch begins after `first`"),
        flag("last_excluded", "the stretch ends before `last`"),
        text("revision", "build it belongs to; empty when not known"),
        text("basis", "what that rests on: declared, observed, inferred or unknown"),
        count("units", "units of the stretch that clinics measured"),
        count("clinics", "clinics that measured them"),
        text("first_seen", "day of the first run of these units"),
        text("last_seen", "day of the last"),
        number("confidence", "how far its sources agree on the revision, from 0 to 1", "1"),
        count("supporting", "measured units in and around the stretch that speak for the revision"),
        count("contradicting", "measured units in and around the stretch that speak against it"),
        number("probability", "of an inferred stretch: that all of it is this revision", "1"),
        count("conflicts", "sources that say otherwise", pick=len),
        text("conflicts_say", "what they say", key="conflicts", pick=joined("says")),
        text("lacks", "of an unknown stretch: what would fill it"),
    ),
    _rest_of_serials,
)

_QUANTILES = tuple(
    number(f"q{p:02}", f"{p} % quantile of the unit means", key="quantiles", pick=inner(f"{p / 100:g}"))
    for p in (10, 25, 50, 75, 90)
)
_DISTRIBUTIONS = AnswerTable(
    "distributions",
    "one row a metric of one revision at one setting with one rig, power and band of elevation; figures are "
    "in `unit`. Histograms and each clinic's influence are in the answer only",
    answer_distributions,
    "cells",
    cautions.DISTRIBUTIONS,
    (
        MODEL,
        EDITION,
        text("revision", "build; empty when not known"),
        *SETTING,
        count("runs", "runs counted"),
        count("units", "pumps they are of"),
        count("clinics", "clinics that measured them"),
        number("centre", "robust centre over units and clinics"),
        number("low", "lower end of the centre's 95 % interval"),
        number("high", "upper end of the centre's 95 % interval"),
        number("s_repeatability", "standard deviation of runs of one unit at one clinic"),
        number("s_unit", "standard deviation between units"),
        number("s_clinic", "standard deviation between clinics"),
        number("s_between", "standard deviation between units and clinics together"),
        number("s_reproducibility", "standard deviation of runs of one unit at any clinic (ISO 5725)"),
        number(
            "predict_low", "lower end of the 95 % prediction interval of the next unit at the next clinic"
        ),
        number("predict_high", "upper end of that interval"),
        *_QUANTILES,
        text("state", "ok, or thin when the counts do not carry figures"),
        text("missing", "what is missing when thin"),
        count("reined", "units drawn in because they stand far out"),
    ),
    left_out=frozenset({"histogram", "influence", "reined_units"}),
)

_BUILDS = (
    text("old_build", "the one compared with", key="old", whole=True),
    text("new_build", "the one compared", key="new", whole=True),
)


def _lasting(said: Sequence[str]) -> str:
    """Cautions without the one on past times: a table made again is the table of then, byte for byte."""
    return " ".join(one for one in said if one != cautions.MADE_AGAIN)


_CAUTIONS = text(
    "cautions", "what else differs between the builds, and what to bear in mind", whole=True, pick=_lasting
)
_COMPARISONS = AnswerTable(
    "comparisons",
    "one row a setting and metric that both builds were measured at; figures are in `unit`, new less old. "
    "Differences within single bands of elevation are in the answer only",
    answer_comparison,
    "settings",
    cautions.COMPARISONS,
    (
        MODEL,
        EDITION,
        *_BUILDS,
        text("overall", "same, different or cannot tell yet, over all settings", key="verdict", whole=True),
        *SETTING,
        number("old", "centre of the old build"),
        number("new", "centre of the new build"),
        number("difference", "new less old"),
        number("low", "lower end of the difference; all differences together are held at 95 %"),
        number("high", "upper end of the difference"),
        number("percent", "difference as part of the old value", "%"),
        number("percent_low", "lower end of that", "%"),
        number("percent_high", "upper end of that", "%"),
        number("margin", "the least difference that matters"),
        number("p_different", "p value of a difference, times the number of values compared", "1"),
        number("p_same", "p value of the two one-sided tests at the margin", "1"),
        number("same_low", "lower end by which same is judged: of this difference alone, at 90 %"),
        number("same_high", "upper end of that"),
        text("verdict", "same, different or cannot tell yet, at this setting"),
        text("matters", "whether the difference is larger than the margin: yes, perhaps or no"),
        count("needs_units", "units of either build more that would tell", key="needs", pick=inner("units")),
        count("needs_clinics", "clinics to measure both at", key="needs", pick=inner("clinics")),
        text(
            "needs_towards", "what they would show if all is as it seems", key="needs", pick=inner("towards")
        ),
        text("band_old", "band of common practice of the old rate", key="bands", pick=inner("old")),
        text("band_new", "band of common practice of the new rate", key="bands", pick=inner("new")),
        flag("band_sure", "both intervals lie clear of the edges crossed", key="bands", pick=inner("sure")),
        count("units_old", "units of the old build"),
        count("units_new", "units of the new build"),
        count("clinics_old", "clinics that measured the old build"),
        count("clinics_new", "clinics that measured the new build"),
        count("clinics_both", "clinics that measured both"),
        number("spreads", "of one unit: difference over the spread between units of the build", "1"),
        count("set_aside", "units set aside because they stand far out"),
        _CAUTIONS,
    ),
    left_out=frozenset({"by_elevation"}),
)


def _share(name: str, says: str) -> tuple[Column, ...]:
    """Value, interval and per cent of a share of a difference."""
    return (
        number(name, says, key=name, pick=inner("value")),
        number(f"{name}_low", "lower end of its 95 % interval", key=name, pick=inner("low")),
        number(f"{name}_high", "upper end of it", key=name, pick=inner("high")),
        number(f"{name}_percent", "the same as part of the old value", "%", key=name, pick=inner("percent")),
        number(f"{name}_percent_low", "lower end of that", "%", key=name, pick=inner("percent_low")),
        number(f"{name}_percent_high", "upper end of that", "%", key=name, pick=inner("percent_high")),
    )


_COMBINATIONS = {
    "units_old_old": "units measured with old base and old part",
    "units_old_new": "units measured with old base and new part",
    "units_new_old": "units measured with new base and old part",
    "units_new_new": "units measured with new base and new part",
}
_PART_SWAPS = AnswerTable(
    "part-swaps",
    "one row a setting and metric whose difference can be split; figures are in `unit`, part and base add up "
    "to the total, and `rig` is the rig without the part. A table without rows cannot tell which runs are "
    "missing; the answer does",
    answer_swap,
    "settings",
    cautions.SWAPS,
    (
        MODEL,
        EDITION,
        *_BUILDS,
        text("swapped", "the part that was swapped", key="part", whole=True),
        text("old_part", "the part that belongs to the old build", whole=True),
        text("new_part", "the part that belongs to the new build", whole=True),
        *SETTING,
        *(
            count(name, says, key="units", pick=itemgetter(place))
            for place, (name, says) in enumerate(_COMBINATIONS.items())
        ),
        number("old_value", "centre with old base and old part"),
        *_share("total", "what both change together"),
        *_share("part", "what the new part changes, over both bases"),
        *_share("base", "what the new base changes, over both parts"),
        *_share("interaction", "how much more the new part changes on the new base"),
        *_share("part_on_old", "what the new part changes on the old base"),
        *_share("part_on_new", "what the new part changes on the new base"),
        count("set_aside", "units set aside because they stand far out"),
        text(
            "missing",
            "of all settings: which runs to record where not all four combinations were measured",
            whole=True,
            pick=joined("says"),
        ),
        _CAUTIONS,
    ),
)


def _ask_settings(**asked: Any) -> Document:
    """Ranges of metrics are given beside the rest of the question; a table is as long as answers get."""
    ranges = {*ALIASES, *edition_of(CURRENT_EDITION).metrics}
    needs = {name: asked.pop(name) for name in ranges & set(asked)}
    return answer_settings(needs=needs, **{"most": MOST, **asked})


_OF_METRIC = (
    "centre",
    "predict_low",
    "predict_high",
    "probability",
    "difference",
    "difference_low",
    "difference_high",
    "in_margins",
)


def _by_metric(row: Document) -> Iterator[Document]:
    """A row for each metric of a setting."""
    for metric, held in row["metrics"].items():
        of_metric = {f"metric_{name}": held.get(name) for name in _OF_METRIC}
        yield {
            **{name: value for name, value in row.items() if name != "metrics"},
            "other_parts": "; ".join(f"{name}: {of}" for name, of in row.get("other_parts", {}).items()),
            "metric": metric,
            **of_metric,
        }


_SETTINGS_MATCHES = AnswerTable(
    "settings-matches",
    "one row a setting and metric asked for, the likeliest or nearest setting first; figures of a metric are "
    "in its unit, which is told beside its definition",
    _ask_settings,
    "settings",
    cautions.SETTINGS,
    (
        text("model", "name the pump is sold under"),
        EDITION,
        text("revision", "build; empty when not known"),
        *(column for column in SETTING if column.name != "unit"),
        count("units", "pumps the setting was measured on"),
        count("clinics", "clinics that measured them"),
        text("state", "ok, or thin when the counts do not carry a probability"),
        text("missing", "what is missing when thin"),
        number(
            "probability",
            "that one run of the next unit at the next clinic meets all needs at once, or that the setting "
            "is within margins of the old one",
            "1",
        ),
        text("other_parts", "which parts were others than at the old setting, of other builds and pumps"),
        number("distance", "from the old setting, in margins", "1"),
        text("within", "whether that surely is within margins: within, not within, cannot tell"),
        number("metric_centre", "centre of the metric"),
        number("metric_predict_low", "lower end of the 95 % prediction interval of the next unit"),
        number("metric_predict_high", "upper end of it"),
        number("metric_probability", "that the next unit meets the need of this metric", "1"),
        number("metric_difference", "from the old setting"),
        number("metric_difference_low", "lower end of its 95 % interval"),
        number("metric_difference_high", "upper end of it"),
        number("metric_in_margins", "the same, in margins", "1"),
        count("left_off", "settings beyond those listed, which are less likely", whole=True),
    ),
    spread=_by_metric,
)

ANSWERS = (_SERIALS, _DISTRIBUTIONS, _COMPARISONS, _PART_SWAPS, _SETTINGS_MATCHES)
