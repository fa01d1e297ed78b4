"""A version of a rule judges the same as it ever did: who changes how it judges raises its number.

`judged/` holds what each version made of some invented communities. What is on record is never written over.
A new version is put on record when it is first tried, and the test fails that once: look at what it says, and
commit it with the rule.
"""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from registry.alerts import rules
from registry.alerts.scan import scan_community
from registry.models import Judgement, PumpModel
from tests import factories
from tests.alerts.community import Community
from tests.alerts.test_losses_and_claims import losing_runs
from tests.alerts.test_unlisted import measured

RECORD = Path(__file__).with_name("judged")


def losing(model: PumpModel) -> None:
    losing_runs(model, later=6.0)
    factories.summary(factories.unit(model, "LK000001", "A"), 200.0)


# By the rule that has something to tell there.
COMMUNITIES: dict[str, Callable[[PumpModel], object]] = {
    "gauge_off": lambda model: Community(model, {"west": 1.08}).measure(),
    "unit_off": lambda model: Community(model, units={"LK003001": 0.7}).measure(),
    "unlisted_revision": lambda model: measured(model, 24, 12, rate=0.9),
    "losses_more": losing,
}


def judged() -> dict[str, dict[str, list[Any]]]:
    """By rule and version: each subject's standing, effect and chance."""
    scan_community()
    found: dict[str, dict[str, list[Any]]] = {
        f"{r.rule.name} {r.rule.version}": {} for r in rules.all_rulings()
    }
    for row in Judgement.objects.order_by("subject"):
        found[f"{row.rule} {row.rule_version}"][row.subject] = [row.standing, row.size, row.p]
    return found


def is_same(one: list[Any], other: list[Any]) -> bool:
    """The same standing, and figures but for what another machine's rounding may do to them."""
    return one[0] == other[0] and all(
        now == before or (None not in (now, before) and now == pytest.approx(before, rel=1e-4, abs=1e-9))
        for now, before in zip(one[1:], other[1:], strict=True)
    )


@pytest.mark.django_db
@pytest.mark.parametrize("name", COMMUNITIES)
def test_no_version_of_a_rule_judges_otherwise_than_it_did(name: str) -> None:
    COMMUNITIES[name](factories.pump_model())
    place, found = RECORD / f"{name}.json", judged()
    record = json.loads(place.read_text()) if place.exists() else {}
    for version, told in found.items():
        before = record.get(version, told)
        assert told.keys() == before.keys(), f"{version} judges other subjects: raise its number"
        otherwise = [subject for subject in told if not is_same(told[subject], before[subject])]
        assert not otherwise, f"{version} judges otherwise: raise its number"
    new = found.keys() - record.keys()
    if new:
        place.write_text(json.dumps(found | record, indent=1, sort_keys=True) + "\n")
    assert not new, "put on record now: look at it, and commit it with the rule"


@pytest.mark.parametrize("name", COMMUNITIES)
def test_each_record_has_something_to_tell(name: str) -> None:
    record = json.loads((RECORD / f"{name}.json").read_text())
    told = [one[0] for version, of in record.items() if version.startswith(f"{name} ") for one in of.values()]
    assert "off" in told
