"""Rules about losses and about claims, as far as the database is concerned."""

from datetime import UTC, datetime, timedelta

import pytest

from registry.alerts import claim_off, losses_more
from registry.alerts.readings import readings
from registry.alerts.scan import scan_community
from registry.alerts.scanned import Scan
from registry.intake.summaries import refresh_summaries
from registry.models import Alert, Claim, Judgement, Run, UnitSummary
from tests import factories

pytestmark = pytest.mark.django_db
BEGAN = datetime(2026, 1, 1, tzinfo=UTC)


def losing_runs(model, later: float) -> None:
    """Nine units in three clinics, read eight times each; from the sixth time on with `later` losses."""
    for day in range(8):
        for k in range(9):
            unit = factories.unit(model, f"LK{k:06}", "A")
            run = factories.run(unit, ("north", "south", "east")[k % 3])
            Run.objects.filter(pk=run.pk).update(recorded_at=BEGAN + timedelta(days=day))
            factories.losses(run, (later if day >= 5 else 1.0) + 0.1 * ((k + day) % 3))


def judged(rule, model):
    return rule.judge(Scan(readings([model.pk]), factories.edition().number))


def test_more_losses_are_told_with_when_they_began() -> None:
    model = factories.pump_model()
    losing_runs(model, later=6.0)
    factories.summary(factories.unit(model, "LK000001", "A"), 200.0)
    scan_community()
    alert = Alert.objects.get(rule="losses_more")
    assert (alert.subject, alert.pump_model) == ("Lapwing One/A", model)
    assert alert.since == BEGAN + timedelta(days=5)
    assert alert.evidence["times"] > 4
    assert alert.state == "suspected"
    losing_runs(model, later=6.0)
    scan_community()
    alert.refresh_from_db()
    assert alert.state == "raised"


def test_as_many_losses_as_before_are_fine_and_few_runs_are_not_judged() -> None:
    model = factories.pump_model()
    factories.summary(factories.unit(model, "LK000001", "A"), 200.0)
    assert judged(losses_more, model) == []
    losing_runs(model, later=1.0)
    (verdict,) = judged(losses_more, model)
    assert verdict.standing == "clear"
    elsewhere = Run.objects.exclude(clinic__code="north")
    elsewhere.update(state="held")
    for run in elsewhere:
        refresh_summaries(run)
    (verdict,) = judged(losses_more, model)
    assert verdict.standing == "unjudged"
    assert "3 units in 2 clinics" in verdict.lacks


def claimed(model, peak: float) -> None:
    """Twelve units of three clinics with such a peak vacuum."""
    UnitSummary.objects.all().delete()
    for k in range(12):
        unit = factories.unit(model, f"LK{k:06}", "A")
        factories.summary(unit, peak + 0.5 * (k % 4), ("north", "south", "east")[k % 3])


def test_a_claim_that_is_upheld_no_longer_is_told_and_one_that_never_was_is_not() -> None:
    model = factories.pump_model()
    said = {"metric": "peak_vacuum", "unit": "mmHg", "mode": "expression", "relation": "at least"}
    Claim.objects.create(pump_model=model, value=200, source="leaflet", **said)
    Claim.objects.create(pump_model=model, value=300, source="shop", **said)
    claimed(model, 240.0)
    scan_community()
    assert not Alert.objects.exists()
    of_first = Judgement.objects.filter(rule="claim_off", subject__contains="/A:")
    assert sorted(of_first.values_list("standing", flat=True)) == ["between", "clear"]
    claimed(model, 160.0)
    found = judged(claim_off, model)
    assert sorted(verdict.standing for verdict in found if "/A:" in verdict.subject) == ["between", "off"]
    (off,) = [verdict for verdict in found if verdict.standing == "off"]
    assert "at least 200" in off.subject
    assert off.keys["pump_model"] == model.pk


def test_a_claim_that_cannot_be_decided_is_not_fine() -> None:
    model = factories.pump_model()
    Claim.objects.create(
        pump_model=model, relation="at least", value=200, metric="peak_vacuum", unit="mmHg",
        mode="expression", source="leaflet",
    )  # fmt: skip
    factories.summary(factories.unit(model, "LK000001", "A"), 240.0)
    verdicts = judged(claim_off, model)
    assert any("/A:" in verdict.subject for verdict in verdicts)
    assert all(verdict.standing == "unjudged" and verdict.lacks for verdict in verdicts)
