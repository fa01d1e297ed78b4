"""An alert in the words of a page."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Final

from django.utils.dateparse import parse_datetime

_CLOSED: Final = ("settled", "dismissed", "lapsed")
_STATES: Final = {
    "raised": "open",
    "seen": "open, being looked into",
    "settled": "settled",
    "dismissed": "dismissed",
}


@dataclass(frozen=True)
class ShownAlert:
    """What a page tells of an alert; `sure` in per cent, None where the rule gives none."""

    id: int
    rule: str
    says: str
    about: list[tuple[str, str]]
    state: str
    is_open: bool
    is_new: bool
    severity: str
    since: datetime | None
    sure: str | None
    why: list[str]
    advice: str
    cautions: list[str]
    closed_at: datetime | None
    closed_why: str
    evidence: Mapping[str, Any] = field(default_factory=dict)


def shown_alert(document: Mapping[str, Any]) -> ShownAlert:
    """Put an alert's document into the words of a page."""
    state, closed = document["state"], document.get("closed") or {}
    return ShownAlert(
        id=document["id"],
        rule=f"{plain(document['rule'])} (version {document['rule_version']})",
        says=document["says"],
        about=[(plain(kind), str(name)) for kind, name in document["subject"].items()],
        state=_STATES.get(state, state),
        is_open=state not in _CLOSED,
        is_new=state == "raised",
        severity=document.get("severity") or "caution",
        since=parse_datetime(document["since"]),
        sure=_sure(document.get("confidence")),
        why=[str(line) for line in document.get("why") or ()],
        advice=document.get("advice") or "",
        cautions=list(document.get("cautions") or ()),
        closed_at=parse_datetime(str(closed["at"])) if closed.get("at") else None,
        closed_why=_closed_why(closed),
        evidence=document["evidence"],
    )


def plain(name: str) -> str:
    """A name of the programs in words: peak_vacuum is "peak vacuum"."""
    return name.replace("_", " ")


def _sure(confidence: Any) -> str | None:
    """Never "100 %": what rests on chance is not certain."""
    if not isinstance(confidence, float | int) or not 0 < confidence <= 1:
        return None
    return "over 99.9 %" if confidence > 0.999 else f"{100 * confidence:.3g} %"


def _closed_why(closed: Mapping[str, Any]) -> str:
    return "; ".join(str(closed[key]) for key in ("why", "note") if closed.get(key))
