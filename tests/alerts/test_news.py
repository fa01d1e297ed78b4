"""A check judges the builds that have something new, and leaves what it said of the others."""

from datetime import timedelta

import pytest
from django.db.models import F
from django.utils import timezone

from registry.alerts.scan import check, scan_community
from registry.alerts.scanned import Changed
from registry.models import Judgement, Unit, UnitSummary
from tests import factories
from tests.alerts.community import Community

pytestmark = pytest.mark.django_db


@pytest.fixture
def model():
    """A model of a build that was judged, and read last a day before."""
    made = factories.pump_model()
    Community(made).measure()
    UnitSummary.objects.update(refreshed_at=timezone.now() - timedelta(days=1))
    scan_community()
    return made


def judged_anew(model) -> set[str]:
    began = timezone.now()
    check(Changed(model.pk, factories.gauge("west").pk))
    return set(Judgement.objects.filter(looked_at__gte=began).values_list("rule", flat=True))


def test_a_build_without_news_is_not_judged_again(model) -> None:
    assert not judged_anew(model) & {"unlisted_revision", "revision_drifting", "unit_off"}
    assert Judgement.objects.filter(rule="unlisted_revision").exists()


def test_a_cell_that_was_refreshed_is_news(model) -> None:
    UnitSummary.objects.filter(unit__serial="LK003000").update(refreshed_at=timezone.now())
    assert judged_anew(model) >= {"unlisted_revision", "revision_drifting", "unit_off"}


def test_a_cell_of_a_gauge_that_nobody_declared_is_news(model) -> None:
    unit = Unit.objects.get(serial="LK003000")
    cell = factories.summary(unit, 60.0, gauge_code="", metric="cycle_rate")
    cell.refreshed_at = timezone.now() - timedelta(days=1)
    cell.save()
    assert not judged_anew(model) & {"unlisted_revision"}
    cell.refreshed_at = timezone.now()
    cell.save()
    assert judged_anew(model) >= {"unlisted_revision"}


def test_runs_that_were_withdrawn_are_news(model) -> None:
    UnitSummary.objects.filter(unit__serial="LK003000").delete()
    assert judged_anew(model) >= {"unlisted_revision", "unit_off"}
    UnitSummary.objects.update(count=F("count") + 1)
    assert judged_anew(model) >= {"unlisted_revision", "unit_off"}
