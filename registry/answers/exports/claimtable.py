"""Claims held against what clinics measure, as a table."""

from registry.answers import cautions
from registry.answers.claiming.claims import answer_claims
from registry.answers.exports.answertable import EDITION, MODEL, AnswerTable
from registry.answers.exports.columns import Column, count, inner, number, text, time

_SETTING = {
    "mode": "mode the claim was judged at; empty when not measured",
    "programme": "programme it was judged at",
    "level": "level it was judged at",
    "side": "side it was judged at",
    "rig": "rig it was judged with",
    "power": "power it was judged with",
    "elevation": "band of elevation it was judged in",
}


def _judged_at() -> tuple[Column, ...]:
    return tuple(
        text(f"judged_{name}", says, key="setting", pick=inner(name)) for name, says in _SETTING.items()
    )


CLAIMS = AnswerTable(
    "claims",
    "one row a claim and revision; figures are in `metric_unit`",
    answer_claims,
    "claims",
    cautions.CLAIMS,
    (
        MODEL,
        EDITION,
        text("metric", "what the claim is about"),
        text("relation", "at least, at most, and so on; or same as before"),
        number("value", "the value claimed, in `unit`"),
        text("unit", "unit of the value claimed"),
        text("mode", "mode as claimed; empty where left open"),
        text("programme", "programme as claimed; empty where left open"),
        text("level", "level as claimed; empty where left open"),
        text("source", "where the claim was read"),
        text("entered_by", "clinic of the curator who entered it"),
        time("entered_at", "when it was entered"),
        text("revision", "build it was held against"),
        text("against", "the build before, for same as before"),
        *_judged_at(),
        text("metric_unit", "unit of the figures below"),
        count("units", "pumps counted"),
        count("clinics", "clinics that measured them"),
        number("centre", "the typical unit"),
        number("low", "lower end of its 95 % interval"),
        number("high", "upper end of it"),
        number("probability", "that a unit conforms", "1"),
        number("probability_typical", "that the typical unit conforms", "1"),
        number("guard_band", "kept from a limit on either side, after JCGM 106"),
        number("accept_low", "a typical unit from here on is upheld"),
        number("accept_high", "a typical unit up to here is upheld"),
        text("verdict", "upheld, not upheld, undecided or not measured"),
        text("missing", "what a verdict needs, where there is none"),
        number("risk", "that the verdict is wrong", "1"),
        text("says", "the same in one line"),
    ),
)
