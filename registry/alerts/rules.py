"""The rules, in order of precedence: what an earlier one found off explains what a later one would say.

A module offers `RULE` and `judge(scan)`. Rules of the community look at gauges over all pump models; the
others at one pump model at a time. Two versions of a rule may stand here side by side, the newer one after
the older; it runs in shadow until it is promoted (`registry.alerts.stages`).
"""

from collections.abc import Callable
from dataclasses import dataclass

from registry.alerts import claim_off, clinic_off, drifting, gauge_off, losses_more, unit_off, unlisted
from registry.alerts.scanned import Scan
from registry.alerts.verdicts import Rule, Verdict


@dataclass(frozen=True)
class Ruling:
    """One rule as it is run."""

    rule: Rule
    judge: Callable[[Scan], list[Verdict]]


COMMUNITY: tuple[Ruling, ...] = (
    Ruling(clinic_off.RULE, clinic_off.judge),
    Ruling(gauge_off.RULE, gauge_off.judge),
)
OF_MODEL: tuple[Ruling, ...] = (
    Ruling(unlisted.RULE, unlisted.judge),
    Ruling(drifting.RULE, drifting.judge),
    Ruling(unit_off.RULE, unit_off.judge),
    Ruling(losses_more.RULE, losses_more.judge),
    Ruling(claim_off.RULE, claim_off.judge),
)


def all_rulings() -> tuple[Ruling, ...]:
    """Every rule and version, in order."""
    return (*COMMUNITY, *OF_MODEL)


def advice_of(name: str) -> str:
    """What to do about an alert of a rule; empty for a rule that is no more."""
    return next((ruling.rule.advice for ruling in reversed(all_rulings()) if ruling.rule.name == name), "")
