"""A rule that fails loses nothing of what others said, and nothing is told that it might have explained."""

from collections.abc import Callable
from dataclasses import replace

import pytest

from registry.alerts import rules
from registry.alerts.scan import check, scan_community
from registry.alerts.scanned import Changed, Scan
from registry.alerts.verdicts import Verdict
from registry.models import Alert, Judgement, PumpModel, RuleStage, RuleVersion
from tests import factories
from tests.alerts.community import Community

pytestmark = pytest.mark.django_db


@pytest.fixture
def breaking(monkeypatch: pytest.MonkeyPatch) -> Callable[..., None]:
    """Let a rule fail, of one model or of all."""

    def breaks(name: str, model: PumpModel | None = None) -> None:
        def judge(scan: Scan) -> list[Verdict]:
            if model is None or (scan.readings.table["pump_model"] == model.pk).any():
                raise ZeroDivisionError
            return whole(scan)

        for among in ("COMMUNITY", "OF_MODEL"):
            rulings = getattr(rules, among)
            for ruling in rulings:
                if ruling.rule.name == name:
                    whole = ruling.judge
            told = [replace(one, judge=judge) if one.rule.name == name else one for one in rulings]
            monkeypatch.setattr(rules, among, tuple(told))

    return breaks


def judged() -> set[str]:
    return set(Judgement.objects.values_list("rule", flat=True))


def alerts() -> set[tuple[str, str, str]]:
    return set(Alert.objects.values_list("rule", "subject", "state"))


def test_a_check_keeps_and_tells_what_was_said_before(breaking) -> None:
    model = factories.pump_model()
    Community(model, gains={"west": 1.08}).measure()
    breaking("unlisted_revision")
    with pytest.raises(ExceptionGroup) as failed:
        check(Changed(model.pk, factories.gauge("west").pk))
    assert isinstance(failed.value.exceptions[0], ZeroDivisionError)
    assert "unlisted_revision" in failed.value.exceptions[0].__notes__[0]
    assert judged() == {"clinic_off", "gauge_off"}
    assert alerts() == {("gauge_off", "west/G1", "raised")}


@pytest.mark.parametrize("look", ["check", "scan"])
def test_no_unit_is_told_where_gauges_could_not_be_judged(breaking, look) -> None:
    model = factories.pump_model()
    Community(model, units={"LK003000": 0.7}).measure()
    breaking("gauge_off")
    with pytest.raises(ExceptionGroup):
        scan_community() if look == "scan" else check(Changed(model.pk, factories.gauge("west").pk))
    assert judged() == {"clinic_off"}
    assert alerts() == set()


def test_a_scan_goes_on_with_other_models_and_settles_nothing_of_the_one(breaking) -> None:
    one, other = factories.pump_model("Lapwing One"), factories.pump_model("Lapwing Two")
    Community(one, units={"LK003000": 0.7}).measure()
    scan_community()
    before = alerts()
    assert ("unit_off", "Lapwing One/LK003000", "suspected") in before
    Community(other, units={"LK002000": 0.7}, seed=5).measure()
    breaking("unit_off", one)
    with pytest.raises(ExceptionGroup):
        scan_community()
    assert alerts() == before | {("unit_off", "Lapwing Two/LK002000", "suspected")}


def test_a_version_on_trial_that_fails_keeps_no_other_from_telling(breaking) -> None:
    model = factories.pump_model()
    Community(model, gains={"west": 1.08}).measure()
    version = next(one.rule.version for one in rules.COMMUNITY if one.rule.name == "clinic_off")
    RuleVersion.objects.create(rule="clinic_off", version=version, stage=RuleStage.SHADOW)
    breaking("clinic_off")
    with pytest.raises(ExceptionGroup):
        scan_community()
    assert {"gauge_off", "unit_off"} <= judged()
    assert alerts() == {("gauge_off", "west/G1", "raised")}
