"""What alerts can be narrowed down by: one meaning for lists, pages, feeds and subscriptions.

A name that nobody knows is refused: an empty list for a mistyped rule would read as "nothing stands out".
"""

from registry.alerts.rules import all_rulings
from registry.errors import unmeant
from registry.models import Alert
from registry.models.delivery import SEVERITIES


def at_least(severity: str) -> tuple[str, ...]:
    """The severities from one up, itself among them. Raises Invalid on the field `severity`."""
    if severity not in SEVERITIES:
        raise unmeant("severity", "is not a known severity", f"Known: {', '.join(SEVERITIES)}.")
    return tuple(SEVERITIES[SEVERITIES.index(severity) :])


def rule_of(name: str) -> str:
    """The name of a rule in use, or of one that raised alerts once. Raises Invalid on the field `rule`."""
    known = sorted({ruling.rule.name for ruling in all_rulings()})
    if name not in known and not Alert.objects.filter(rule=name).exists():
        raise unmeant("rule", f"there is no rule '{name[:60]}'", f"Known: {', '.join(known)}.")
    return name
