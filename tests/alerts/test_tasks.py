"""Queued checks: one for a sweep of uploads, none without a gauge, and they do find what is off."""

import pytest
from procrastinate.contrib.django.models import ProcrastinateJob

from registry.alerts.tasks import check_gauge, check_run, scan_all
from registry.models import Alert, BenchSession
from tests import factories
from tests.alerts.community import Community

pytestmark = pytest.mark.django_db


@pytest.fixture
def model():
    return factories.pump_model()


def queued() -> list[tuple[str, dict[str, int]]]:
    return [(job.task_name, job.args) for job in ProcrastinateJob.objects.order_by("id")]


def test_a_sweep_of_uploads_queues_one_check_of_its_gauge(model) -> None:
    unit = factories.unit(model, "LK000001", "A")
    for level in ("1", "2", "3"):
        check_run(run_id=factories.run(unit, level=level).pk)
    assert queued() == [("registry.alerts.tasks.check_gauge", {"gauge_id": factories.gauge().pk})]


def test_a_run_without_a_declared_gauge_queues_nothing(model) -> None:
    run = factories.run(factories.unit(model, "LK000001", "A"))
    BenchSession.objects.update(gauge=None)
    check_run(run_id=run.pk)
    check_run(run_id=0)
    assert queued() == []


def test_deferring_is_part_of_the_transaction(model) -> None:
    check_run.defer(run_id=7)
    assert queued() == [("registry.alerts.tasks.check_run", {"run_id": 7})]


def test_the_checks_find_what_is_off(model) -> None:
    Community(model, gains={"west": 1.08}).measure()
    check_gauge(gauge_id=factories.gauge("west").pk)
    scan_all(timestamp=0)
    assert [a.subject for a in Alert.objects.all()] == ["west/G1"]
