"""Queued checks: one for a sweep of uploads, also without a gauge, and they do find what is off."""

import threading

import pytest
from django.db import connection, transaction
from procrastinate.contrib.django.models import ProcrastinateJob

from registry.alerts.tasks import check_runs, scan_all, want_checks
from registry.models import Alert, Run
from tests import factories
from tests.alerts.community import Community


def read_by(run: Run) -> tuple[int, int | None]:
    return run.pump_model_id, run.session.gauge_id


def queued() -> list[tuple[str, dict[str, int | None]]]:
    return [(job.task_name, job.args) for job in ProcrastinateJob.objects.order_by("id")]


@pytest.mark.django_db
def test_a_sweep_of_uploads_queues_one_check_of_its_gauge() -> None:
    unit = factories.unit(factories.pump_model(), "LK000001", "A")
    for level in ("1", "2", "3"):
        want_checks([read_by(factories.run(unit, level=level))])
    asked = {"pump_model": unit.pump_model_id, "gauge": factories.gauge().pk}
    assert queued() == [("registry.alerts.tasks.check_runs", asked)]


@pytest.mark.django_db
def test_a_run_without_a_declared_gauge_is_checked_by_its_pump_model() -> None:
    unit = factories.unit(factories.pump_model(), "LK000001", "A")
    want_checks([(unit.pump_model_id, None)])
    assert queued() == [
        ("registry.alerts.tasks.check_runs", {"pump_model": unit.pump_model_id, "gauge": None})
    ]
    check_runs(pump_model=unit.pump_model_id, gauge=None)


@pytest.mark.django_db(transaction=True)
def test_asking_is_part_of_the_transaction() -> None:
    factories.edition()
    run = factories.run(factories.unit(factories.pump_model(), "LK000001", "A"))
    with transaction.atomic():
        want_checks([read_by(run)])
        transaction.set_rollback(True)
    assert queued() == []


@pytest.mark.django_db(transaction=True)
def test_a_waiting_check_does_not_begin_before_the_upload_that_relies_on_it_has_ended() -> None:
    factories.edition()
    run = factories.run(factories.unit(factories.pump_model(), "LK000001", "A"))
    want_checks([read_by(run)])
    seen: list[bool] = []

    def look() -> None:
        with connection.cursor() as cursor:
            cursor.execute("SELECT id FROM procrastinate_jobs FOR UPDATE SKIP LOCKED")
            seen.append(cursor.fetchone() is not None)
        connection.close()

    with transaction.atomic():
        want_checks([read_by(run)])
        worker = threading.Thread(target=look)
        worker.start()
        worker.join()
    look()
    assert seen == [False, True]
    assert len(queued()) == 1


@pytest.mark.django_db
def test_the_checks_find_what_is_off() -> None:
    model = factories.pump_model()
    Community(model, gains={"west": 1.08}).measure()
    check_runs(pump_model=model.pk, gauge=factories.gauge("west").pk)
    assert [a.subject for a in Alert.objects.all()] == ["west/G1"]
    scan_all(timestamp=0)
    assert [a.subject for a in Alert.objects.all()] == ["west/G1"]
