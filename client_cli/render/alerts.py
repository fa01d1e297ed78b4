"""Alerts, as a plain list."""

from typing import Any

from rich.console import Console

from client_cli.render.console import indented, lines, table
from client_cli.render.runs import moment
from client_cli.text import clean, one_line

# An alert in a state that this client does not know counts as open: better looked at once too often.
_OVER = frozenset({"settled", "dismissed", "lapsed"})


def is_open(alert: dict[str, Any]) -> bool:
    """Whether an alert still wants looking at."""
    return alert.get("state") not in _OVER


def show_alerts(console: Console, document: dict[str, Any]) -> None:
    """What stands out, since when, and how sure the rule is."""
    results = document["results"]
    rows = table("Alert", "About", "Since", "State", "What it says")
    for alert in results:
        rows.add_row(
            clean(alert.get("id", "")),
            _subject(alert.get("subject")),
            moment(alert.get("since")),
            lines(one_line(alert.get("state")), clean(alert.get("severity") or "")),
            lines(clean(alert.get("says", "")), _rule(alert), _advice(alert)),
        )
    standing = sum(map(is_open, results))
    counted = {0: "No open alerts.", 1: "1 open alert."}.get(standing, f"{standing} open alerts.")
    console.print(counted)
    if rows.row_count:
        console.print()
        console.print(rows)


def show_alert(console: Console, alert: dict[str, Any]) -> None:
    """One alert in a few lines, as a watch tells it."""
    head = " ".join(filter(None, [one_line(alert.get("state")), clean(alert.get("severity") or "")]))
    console.print(f"Alert {clean(alert.get('id', ''))}, {head}, since {_when(alert.get('since'))}")
    for text in (alert.get("says", ""), _advice(alert)):
        if text:
            indented(console, clean(text))


def _advice(alert: dict[str, Any]) -> str:
    """What to do about one that is open."""
    return f"Do: {clean(alert['advice'])}" if alert.get("advice") and is_open(alert) else ""


def _subject(subject: Any) -> str:
    if not isinstance(subject, dict):
        return one_line(subject)
    return lines(*(f"{clean(kind).replace('_', ' ')} {one_line(name)}" for kind, name in subject.items()))


def _rule(alert: dict[str, Any]) -> str:
    named = f"{one_line(alert.get('rule'))} {one_line(alert.get('rule_version'))}"
    return f"({named}{_sure(alert.get('confidence'))})"


def _sure(confidence: Any) -> str:
    """Never "100 %": what rests on chance is not certain. Nothing where the rule gives no confidence."""
    if not isinstance(confidence, float | int) or not 0 < confidence <= 1:
        return ""
    return ", over 99.9 % sure" if confidence > 0.999 else f", {100 * confidence:.3g} % sure"


def _when(value: Any) -> str:
    return moment(value).replace("\n", " ")
