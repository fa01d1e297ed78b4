"""What every alert rule made of something. What could not be judged is never shown as fine."""

from typing import Any

from rich.console import Console
from rich.padding import Padding
from rich.text import Text

from client_cli.numbers import percent
from client_cli.render.console import cautions, indented, says
from client_cli.render.runs import moment
from client_cli.text import clean, one_line

_COLOURS = {"alert": "red", "nothing stands out": "green"}


def show_explanation(console: Console, document: dict[str, Any]) -> None:
    """Each judgement in a few lines: rule and subject, what came of it, figures against limits."""
    says(console, document)
    for rule in document.get("rules") or []:
        console.print()
        console.print(_head(rule))
        console.print(Padding(_outcome(rule), (0, 0, 0, 2)))
        for line in _figures(rule):
            indented(console, line)
    cautions(console, document)


def _head(rule: dict[str, Any]) -> str:
    named = f"{one_line(rule.get('rule'))} {one_line(rule.get('rule_version'))}"
    looked = moment(rule.get("looked_at")).replace("\n", " ") if rule.get("looked_at") else "never"
    return f"{_subject(rule.get('subject'))}  ({named}, looked at {looked})"


def _subject(subject: Any) -> str:
    if not isinstance(subject, dict):
        return one_line(subject)
    return ", ".join(f"{clean(kind).replace('_', ' ')} {one_line(name)}" for kind, name in subject.items())


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
        why.append(f"share of false ones: {percent(share)}")
    return why or [clean(rule.get("says", ""))]
