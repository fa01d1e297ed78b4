"""Answers as tables: one entry an answer."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from registry.answers.distributions import answer_distributions
from registry.answers.exports.columns import (
    Column,
    Row,
    count,
    flag,
    inner,
    joined,
    number,
    text,
)
from registry.answers.exports.table import Filled
from registry.answers.serials import answer_serials

Document = Mapping[str, Any]
Asked = dict[str, Any]

MODEL = text("model", "name the pump is sold under", whole=True)
EDITION = count("edition", "edition of the metric definitions", whole=True)


@dataclass(frozen=True)
class AnswerTable:
    """An answer whose document holds its rows in a list under `rows`.

    `ask` takes the question and returns the document. Where a document may be cut for its length, `follow`
    gives the question for the rest, or None at the end.
    """

    name: str
    description: str
    ask: Callable[..., Document]
    rows: str
    columns: tuple[Column, ...]
    follow: Callable[[Document, Asked], Asked | None] = lambda document, asked: None  # noqa: ARG005

    def fill(self, **asked: Any) -> Filled:
        """Return the answer's rows in the answer's own order. Raises what the answer raises."""
        document = self.ask(**asked)
        return Filled(
            model=str(document.get("model", asked.get("model", ""))),
            edition=document["edition"],
            as_of=datetime.fromisoformat(document["as_of"]),
            chunks=self._chunks(document, asked),
            says=document["says"],
            cautions=tuple(document["cautions"]),
        )

    def _chunks(self, document: Document, asked: Asked) -> Iterator[list[Row]]:
        following: Asked | None = asked
        while following is not None:
            rows = [tuple(c.cell(document, row) for c in self.columns) for row in document[self.rows]]
            if rows:
                yield rows
            following = self.follow(document, following)
            document = self.ask(**following) if following is not None else document


def _rest_of_serials(document: Document, asked: Asked) -> Asked | None:
    following = document["next_first"]
    return None if following is None else {**asked, "first": following}


_SERIALS = AnswerTable(
    "serials",
    "one row a stretch of serial numbers of which one thing is known",
    answer_serials,
    "spans",
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
        number("confidence", "probability that the revision is right", "1"),
        count("supporting", "measured units in and around the stretch that speak for the revision"),
        count("contradicting", "measured units in and around the stretch that speak against it"),
        count("conflicts", "sources that say otherwise", pick=len),
        text("conflicts_say", "what they say", key="conflicts", pick=joined("says")),
    ),
    _rest_of_serials,
)

_QUANTILES = tuple(
    number(f"q{p:02}", f"{p} % quantile of the unit means", key="quantiles", pick=inner(f"{p / 100:g}"))
    for p in (10, 25, 50, 75, 90)
)
_DISTRIBUTIONS = AnswerTable(
    "distributions",
    "one row a metric of one revision at one setting with one rig and power; figures are in `unit`",
    answer_distributions,
    "cells",
    (
        MODEL,
        EDITION,
        text("revision", "build; empty when not known"),
        text("mode", "stimulation or expression"),
        text("programme", "the pump's programme; empty when it has none"),
        text("level", "level the pump was set to"),
        text("side", "side of a double pump: single, left or right"),
        text("rig", "protector / valve / tubing / flange / load between pump and gauge"),
        text("power", "mains or battery; empty when not said"),
        text("metric", "what was measured"),
        text("unit", "unit of the row's figures"),
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
        number("s_reproducibility", "standard deviation of one run of any unit at any clinic"),
        number(
            "predict_low", "lower end of the 95 % prediction interval of the next unit at the next clinic"
        ),
        number("predict_high", "upper end of that interval"),
        *_QUANTILES,
        text("state", "ok, or thin when the counts do not carry figures"),
        text("missing", "what is missing when thin"),
        count("reined", "units drawn in because they stand far out"),
    ),
)

ANSWERS = (_SERIALS, _DISTRIBUTIONS)
