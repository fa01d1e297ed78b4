"""What every alert rule made of something, as a table. What could not be judged is never shown as fine."""

from typing import Any

from rich.console import Console
from rich.text import Text

from client_cli.render.console import cautions, lines, says, table
from client_cli.render.runs import moment
from client_cli.text import clean, one_line

_COLOURS = {"alert": "red", "nothing stands out": "green"}


def show_explanation(console: Console, document: dict[str, Any]) -> None:
    """A row a rule and what it looked at."""
    says(console, document)
    rows = table("Rule", "About", "Outcome", "Figures against limits", "Looked at")
    for rule in document.get("rules") or []:
        rows.add_row(
            f"{one_line(rule.get('rule'))} {one_line(rule.get('rule_version'))}",
            _subject(rule.get("subject")),
            _outcome(rule),
            lines(*_figures(rule)),
            moment(rule.get("looked_at")),
        )
        rows.add_section()
    if rows.row_count:
        console.print()
        console.print(rows)
    cautions(console, document)


def _subject(subject: Any) -> str:
    if not isinstance(subject, dict):
        return one_line(subject)
    return lines(*(f"{clean(kind).replace('_', ' ')} {one_line(name)}" for kind, name in subject.items()))


def _outcome(rule: dict[str, Any]) -> Text:
    outcome = one_line(rule.get("outcome"))
    number = rule.get("alert")
    told = f"{outcome} (alert {number})" if isinstance(number, int) else outcome
    # An outcome that this client does not know is shown as it is, and never in green.
    return Text(told, style=_COLOURS.get(outcome, "yellow"))


def _figures(rule: dict[str, Any]) -> list[str]:
    """What it lacks, or the figures; the rule's own words where there are none."""
    lacks = clean(rule.get("lacks", ""))
    if lacks:
        return [lacks]
    why = [clean(line) for line in rule.get("why") or []]
    share = rule.get("q")
    if isinstance(share, float):
        why.append(f"share of false ones: {share:.2g}")
    return why or [clean(rule.get("says", ""))]
