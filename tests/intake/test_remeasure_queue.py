"""Portions in the queue: each asked for once, any worker may do them, and a killed worker's are taken up."""

import asyncio
from types import SimpleNamespace

import pytest
from django.db import connection, connections
from procrastinate.contrib.django import app
from procrastinate.contrib.django.models import ProcrastinateJob

from registry.intake.receive import receive
from registry.intake.remeasuring.jobs import ask_for, progress
from registry.intake.remeasuring.portions import left_under, portion_lock
from registry.intake.remeasuring.rows import bring_edition
from registry.intake.remeasuring.waiting import NoProgress, wait
from registry.intake.tasks import remeasure_portion, take_up_stalled
from registry.models import Run
from tests import community, factories
from tests.declared import provenance
from tests.traces import trace_bytes


@pytest.fixture
def runs(operator, second_edition) -> list[int]:
    """Five runs."""
    bring_edition(2)
    return [receive(trace_bytes(seed=n), provenance(), operator).run.pk for n in range(5)]


def queued() -> list[dict[str, int]]:
    jobs = ProcrastinateJob.objects.filter(queue_name="remeasuring").order_by("id")
    return [job.args for job in jobs]


def test_each_portion_is_asked_for_once(runs):
    expected = sorted({(number - 1) // 2 * 2 + 1 for number in runs})
    assert ask_for(2, 2) == len(expected)
    asked = sorted(queued(), key=lambda job: job["first"])
    assert asked == [{"edition": 2, "first": first, "last": first + 1} for first in expected]
    assert ask_for(2, 2) == 0
    told = progress(2)
    assert (told.runs, told.left, told.waiting, told.in_hand) == (5, 5, len(expected), 0)


def test_doing_all_portions_twice_does_each_run_once(runs):
    ask_for(2, 2)
    for job in queued() * 2:
        remeasure_portion(**job)
    assert not left_under(2).exists()
    ProcrastinateJob.objects.filter(queue_name="remeasuring").delete()
    assert ask_for(2, 2) == 0


def test_a_portion_with_a_new_run_is_asked_for_again(runs, operator):
    ask_for(2, 1000)
    for job in queued():
        remeasure_portion(**job)
    ProcrastinateJob.objects.filter(queue_name="remeasuring").delete()
    receive(trace_bytes(seed=77), provenance(), operator)
    assert ask_for(2, 1000) == 1
    assert progress(2).left == 1


def test_a_portion_somebody_works_on_is_left_alone(runs):
    first = (runs[0] - 1) // 1000 * 1000 + 1
    other = connections.create_connection("default")
    try:
        with other.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_lock(%s, %s)", portion_lock(2, first))
        assert progress(2).in_hand == 1
        assert progress(1).in_hand == 0
        assert ask_for(2, 1000) == 0
        with other.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_unlock_all()")
    finally:
        other.close()
    assert ask_for(2, 1000) == 1


def test_waiting_without_anybody_getting_on_ends_with_a_plain_word(runs):
    def fail_all(_) -> None:
        ProcrastinateJob.objects.filter(queue_name="remeasuring").delete()

    with pytest.raises(NoProgress, match="5 runs are left"):
        wait(2, 1000, fail_all, pause_s=0.001)


def test_waiting_asks_again_and_ends_when_nothing_is_left(runs):
    told = []

    def work(now) -> None:
        told.append(now.left)
        for job in queued()[:1]:
            remeasure_portion(**job)
        ProcrastinateJob.objects.filter(queue_name="remeasuring").delete()

    wait(2, 2, work, pause_s=0.001)
    assert told[0] == 5
    assert told[-1] == 0
    assert told == sorted(told, reverse=True)


def run_sweep() -> None:
    """Take up stalled jobs as a worker does."""

    async def sweep(worker_app) -> None:
        async with worker_app.open_async():
            await take_up_stalled.func(SimpleNamespace(app=worker_app), 0)

    with app.replace_connector(app.connector.get_worker_connector()) as worker_app:
        asyncio.run(sweep(worker_app))


@pytest.mark.django_db(transaction=True)
class TestStalled:
    """Jobs whose worker is gone; the sweep has a connection of its own, so they are really committed."""

    @pytest.fixture(autouse=True)
    def stalled(self, second_edition) -> None:
        factories.edition()
        community.catalogue()
        bring_edition(2)
        receive(trace_bytes(), provenance(), community.operator())
        ask_for(2, 1000)
        self.set_status("doing")

    def set_status(self, status: str, attempts: int = 0) -> None:
        with connection.cursor() as cursor:
            cursor.execute(
                "UPDATE procrastinate_jobs SET status = %s::procrastinate_job_status, attempts = %s"
                " WHERE queue_name = 'remeasuring'",
                [status, attempts],
            )

    def statuses(self) -> list[str]:
        jobs = ProcrastinateJob.objects.filter(queue_name="remeasuring").order_by("id")
        return list(jobs.values_list("status", flat=True))

    def test_a_killed_workers_job_waits_again(self):
        run_sweep()
        assert self.statuses() == ["todo"]

    def test_it_is_dropped_when_the_same_work_waits_already(self):
        assert ask_for(2, 1000) == 1
        run_sweep()
        assert self.statuses() == ["todo"]

    def test_a_job_that_ends_every_worker_is_given_up(self):
        self.set_status("doing", attempts=10)
        run_sweep()
        assert self.statuses() == ["failed"]
        assert Run.objects.count() == 1
