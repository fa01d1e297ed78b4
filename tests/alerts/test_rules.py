"""What the rules see in a community, and what they leave alone."""

import json

import pytest

from registry.alerts.scan import check, scan_community
from registry.alerts.scanned import Changed
from registry.models import Alert, Operator, UnitSummary
from tests import factories
from tests.alerts.community import Community

pytestmark = pytest.mark.django_db


@pytest.fixture
def model():
    return factories.pump_model()


def alerts():
    return [(a.rule, a.subject, a.state) for a in Alert.objects.order_by("id")]


def test_a_sound_community_raises_nothing(model) -> None:
    Community(model).measure()
    scan_community()
    assert alerts() == []


def test_a_gauge_that_reads_eight_per_cent_high(model) -> None:
    Community(model, gains={"west": 1.08}).measure()
    scan_community()
    assert alerts() == [("gauge_off", "west/G1", "raised")]
    alert = Alert.objects.get()
    assert alert.evidence["shift_percent"] == pytest.approx(8, abs=2)
    assert alert.evidence["low_percent"] < 8 < alert.evidence["high_percent"]
    assert (alert.evidence["units"], alert.evidence["other_clinics"]) == (5, 4)
    assert len(alert.evidence["readings"]) == 5
    assert alert.evidence["limits"]["off"] == 0.04
    assert alert.confidence > 0.95
    assert "% high" in alert.says


def test_one_gauge_alone_is_judged_alike(model) -> None:
    Community(model, gains={"west": 0.92}).measure()
    check(Changed(model.pk, factories.gauge("north").pk))
    assert alerts() == []
    check(Changed(model.pk, factories.gauge("west").pk))
    assert alerts() == [("gauge_off", "west/G1", "raised")]
    assert "% low" in Alert.objects.get().says


def measured_again(model, serial: str, clinic: str) -> None:
    """One run more of a unit, which changes nothing of what it is."""
    factories.losses(factories.run(factories.unit(model, serial), clinic))


def test_a_unit_outside_its_build_is_told_once_and_when_it_was_measured_again(model) -> None:
    Community(model, units={"LK002001": 0.72}).measure()
    scan_community()
    scan_community()
    assert alerts() == [("unit_off", "Lapwing One/LK002001", "suspected")]
    for _ in range(2):  # the first run is the one that stands for all before it
        for serial in ("LK002001", "LK002000", "LK002002"):  # others vouch for the gauge as it is since
            measured_again(model, serial, "east")
    scan_community()
    assert alerts() == [("unit_off", "Lapwing One/LK002001", "raised")]
    evidence = Alert.objects.get().evidence
    assert evidence["metrics"]["peak_vacuum"]["outside"] is True
    assert evidence["metrics"]["cycle_rate"]["outside"] is False
    assert evidence["metrics"]["peak_vacuum"]["percent"] == pytest.approx(-28, abs=5)


def test_one_cause_one_alert(model) -> None:
    """A gauge far off makes all its units look off; only the gauge is named."""
    Community(model, gains={"west": 1.2}).measure()
    scan_community()
    assert alerts() == [("gauge_off", "west/G1", "raised")]


def test_a_gauge_and_a_unit_elsewhere_are_two_causes(model) -> None:
    Community(model, gains={"west": 1.09}, units={"LK002001": 0.7}).measure()
    scan_community()
    assert {(rule, subject) for rule, subject, _ in alerts()} == {
        ("gauge_off", "west/G1"),
        ("unit_off", "Lapwing One/LK002001"),
    }


def test_a_build_of_two_kinds_names_no_units(model) -> None:
    odd = {f"LK{1000 * c + k:06}": 0.7 for c in range(5) for k in range(2)}
    Community(model, units=odd).measure()
    scan_community()
    assert {rule for rule, _, _ in alerts()} == {"unlisted_revision"}


def test_too_few_units_or_clinics_say_nothing(model) -> None:
    Community(model, gains={"west": 1.15}, per_clinic=2).measure()
    scan_community()
    assert alerts() == []
    UnitSummary.objects.all().delete()
    Community(model, gains={"west": 1.15}).measure()
    UnitSummary.objects.exclude(clinic__code__in=["west", "north"]).delete()
    scan_community()
    assert alerts() == []


def test_units_of_no_known_build_and_undeclared_gauges_are_left_alone(model) -> None:
    Community(model, gains={"west": 1.15}, label=None).measure()
    scan_community()
    UnitSummary.objects.update(gauge=None)
    scan_community()
    assert alerts() == []


def test_an_alert_settles_when_its_evidence_is_gone(model) -> None:
    Community(model, gains={"west": 1.08}).measure()
    scan_community()
    frozen = Alert.objects.get().evidence
    UnitSummary.objects.all().delete()
    Community(model).measure()
    scan_community()
    assert alerts() == [("gauge_off", "west/G1", "settled")]
    after = Alert.objects.get().evidence
    assert {name: after[name] for name in frozen} == frozen
    assert "within what other clinics read" in Alert.objects.get().closed_why


def test_an_alert_settles_when_nothing_is_left_to_judge(model) -> None:
    Community(model, gains={"west": 1.08}).measure()
    scan_community()
    UnitSummary.objects.all().delete()
    scan_community()
    assert alerts() == [("gauge_off", "west/G1", "settled")]


def test_nothing_an_alert_shows_names_a_person(model) -> None:
    Operator.objects.create(clinic=factories.clinic("west"), pseudonym="secretbird", handle="west/secretbird")
    Community(model, gains={"west": 1.08}).measure()
    scan_community()
    alert = Alert.objects.get()
    assert "secretbird" not in json.dumps([alert.says, alert.subject, alert.evidence])


@pytest.mark.parametrize("per_clinic", [3, 8])
def test_the_number_of_queries_does_not_grow(model, per_clinic, django_assert_max_num_queries) -> None:
    Community(model, per_clinic=per_clinic).measure()
    with django_assert_max_num_queries(190):
        scan_community()
