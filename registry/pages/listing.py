"""Which alerts a page lists."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import accumulate
from typing import Any, Final
from urllib.parse import urlencode

from django.db.models import Count, QuerySet

from registry.alerts.book import list_alerts
from registry.errors import Invalid
from registry.models import Alert, PumpModel
from registry.models.delivery import SEVERITIES

ON_A_PAGE: Final = 25
STATES: Final = ("open", "raised", "seen", "settled", "dismissed", "any")


@dataclass(frozen=True)
class Asked:
    """What a reader narrowed the list down to; "" narrows nothing down. `before` is where the page begins."""

    state: str = "open"
    severity: str = ""
    rule: str = ""
    model: str = ""
    clinic: str = ""
    before: int | None = None

    def query(self, **changes: Any) -> str:
        """The query of the same list, with some of it changed."""
        said = {**self.__dict__, **changes}
        return urlencode({key: value for key, value in said.items() if value not in ("", None)})

    def feed_query(self) -> str:
        """The same for the feed, which has no states."""
        return self.query(state="", before=None)


def asked(query: Mapping[str, str]) -> Asked:
    """Read a page's query. Raises Invalid for what cannot be meant."""
    said = {key: query.get(key, "").strip()[:120] for key in ("severity", "rule", "model", "clinic")}
    state, before = query.get("state") or "open", query.get("before") or ""
    if not "".join(said.values()).isprintable():
        raise Invalid("That is no text", hint="Type the name as people write it")
    if state not in STATES or (said["severity"] and said["severity"] not in SEVERITIES):
        raise Invalid("There is no such state or severity", hint="Choose one from the list on the page")
    if before and not re.fullmatch(r"[0-9]{1,18}", before):
        raise Invalid("The page begins nowhere", hint="Follow the link below the list")
    return Asked(state, before=int(before) if before else None, **said)


def public_alerts(state: str = "") -> QuerySet[Alert]:
    """Alerts that were told to all, newest first; none of rules on trial, and no mere suspicions."""
    return list_alerts(state=None if state in ("", "any") else state)


def listed(wanted: Asked) -> tuple[list[Alert], int | None]:
    """A page of alerts, and the number before which the next page begins, None on the last one.

    Raises Invalid for a clinic or a rule, UnknownPumpModel for a pump model that nobody knows.
    """
    found = list_alerts(
        state=None if wanted.state == "any" else wanted.state,
        severity=wanted.severity,
        rule=wanted.rule,
        model=wanted.model,
        clinic=wanted.clinic,
    )
    if wanted.before is not None:
        found = found.filter(pk__lt=wanted.before)
    rows = list(found[: ON_A_PAGE + 1])
    shown = rows[:ON_A_PAGE]
    return shown, shown[-1].pk if len(rows) > ON_A_PAGE else None


def open_by_severity() -> list[tuple[str, int]]:
    """How many open alerts are of a severity or graver, gravest first."""
    counts = public_alerts("open").order_by().values("severity").annotate(number=Count("pk"))
    found = {row["severity"]: int(row["number"]) for row in counts}
    gravest_first = SEVERITIES[::-1]
    return list(zip(gravest_first, accumulate(found.get(one, 0) for one in gravest_first), strict=True))


def choices() -> dict[str, list[str]]:
    """What can be chosen from."""
    rules = public_alerts().order_by("rule").values_list("rule", flat=True).distinct()
    models = PumpModel.objects.order_by("name").values_list("name", flat=True)
    return {
        "states": list(STATES),
        "severities": list(SEVERITIES),
        "rules": list(rules),
        "models": list(models[:200]),
    }
