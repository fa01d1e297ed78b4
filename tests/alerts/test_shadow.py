"""A new version of a rule runs in shadow beside the live one until somebody promotes it."""

import json
from dataclasses import replace

import pytest
from django.core.management import CommandError, call_command

from registry.alerts import gauge_off, rules
from registry.alerts.book import list_alerts
from registry.alerts.rules import Ruling
from registry.alerts.scan import scan_community
from registry.alerts.stages import compared, promote
from registry.errors import Conflict, NotFound
from registry.models import Alert, Announcement, Judgement, RuleVersion
from tests import factories
from tests.alerts.community import Community

pytestmark = pytest.mark.django_db
NOW, NEXT = gauge_off.RULE.version, gauge_off.RULE.version + 1
NEW = replace(gauge_off.RULE, version=NEXT)


def blunter(scan):
    """A second version of the rule for gauges, which tells of half as much."""
    found = gauge_off.judge(scan)
    return [replace(v, standing="off" if abs(v.size) > 0.02 else "clear", confirmed=True) for v in found]


@pytest.fixture
def on_trial(monkeypatch):
    """The present version has told before, so that the new one comes second."""
    community = Community(factories.pump_model(), gains={"west": 1.09, "lake": 0.93})
    community.measure()
    scan_community()
    rulings = (*rules.COMMUNITY, Ruling(NEW, blunter))
    monkeypatch.setattr(rules, "COMMUNITY", rulings)
    scan_community()
    return community


def told(**where):
    return set(Alert.objects.filter(**where).values_list("subject", flat=True))


@pytest.mark.usefixtures("on_trial")
def test_a_new_version_runs_in_shadow_and_nobody_is_told() -> None:
    live = told(shadow=False)
    assert "west/G1" in live
    assert told(shadow=True, rule_version=NEXT) >= live
    assert set(list_alerts().values_list("shadow", flat=True)) == {False}
    assert Announcement.objects.count() == len(live)
    assert Judgement.objects.filter(rule_version=NEXT).exists()
    stages = dict(RuleVersion.objects.filter(rule="gauge_off").values_list("version", "stage"))
    assert stages == {NOW: "live", NEXT: "shadow"}


@pytest.mark.usefixtures("on_trial")
def test_both_are_compared_and_the_new_one_is_promoted() -> None:
    found = compared("gauge_off", NEXT)
    assert found["both"] == sorted(told(shadow=False))
    assert found["only_live"] == []
    number = Alert.objects.filter(shadow=False).count()
    promote("gauge_off", NEXT, "north/op")
    assert not told(shadow=True, state__in=["suspected", "raised", "seen"])
    scan_community()
    # What was open goes on under the new version, and is not told again.
    assert Alert.objects.filter(shadow=False, subject="west/G1").count() == 1
    assert Alert.objects.filter(shadow=False).count() == number + len(found["only_shadow"])
    versions = dict(RuleVersion.objects.filter(rule="gauge_off").values_list("version", "stage"))
    assert versions == {NOW: "retired", NEXT: "live"}
    with pytest.raises(Conflict):
        promote("gauge_off", NEXT, "north/op")
    with pytest.raises(NotFound):
        promote("gauge_off", NEXT + 1, "north/op")


@pytest.mark.usefixtures("on_trial")
def test_the_command_lists_compares_and_promotes(capsys) -> None:
    call_command("alert_rules")
    rows = json.loads(capsys.readouterr().out)
    assert [row["stage"] for row in rows if row["rule"] == "gauge_off"] == ["live", "shadow"]
    call_command("alert_rules", "--compare", "gauge_off", str(NEXT))
    assert json.loads(capsys.readouterr().out)["stage"] == "shadow"
    for wrong in (["--promote", "gauge_off", str(NEXT)], ["--promote", "gauge_off", "x", "--by", "me"]):
        with pytest.raises(CommandError):
            call_command("alert_rules", *wrong)
    call_command("alert_rules", "--promote", "gauge_off", str(NEXT), "--by", "me")
    assert RuleVersion.objects.get(rule="gauge_off", version=NEXT).moved_by == "me"
