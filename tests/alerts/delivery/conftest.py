"""A clock that tests move, a worker that runs when told to, and somebody who is told of alerts."""

import json
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import pytest
from django.db import connection

from registry.alerts.delivery import tasks
from registry.alerts.delivery.subscribing import subscribe
from registry.models import Operator, Subscription
from tests import factories
from tests.alerts.delivery.receiver import Receiver

_TAKE = """
DELETE FROM procrastinate_jobs WHERE task_name LIKE 'registry.alerts.delivery.%' RETURNING id, task_name, args
"""


@dataclass
class Clock:
    """The time everything here goes by."""

    now: datetime = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)

    def __call__(self) -> datetime:
        return self.now

    def advance(self, **how_long: float) -> None:
        self.now += timedelta(**how_long)


@pytest.fixture
def clock(monkeypatch) -> Clock:
    """Time stands still until a test moves it."""
    made = Clock()
    monkeypatch.setattr("django.utils.timezone.now", made)
    return made


def work() -> None:
    """Do queued work of delivery, and what that queues, until nothing is left."""
    while True:
        with connection.cursor() as cursor:
            cursor.execute(_TAKE)
            jobs = sorted(cursor.fetchall())
        if not jobs:
            return
        for _, name, args in jobs:
            getattr(tasks, name.rpartition(".")[2])(**(json.loads(args) if isinstance(args, str) else args))


@pytest.fixture
def minutes(clock) -> Callable[[int], None]:
    """Let minutes pass; in each a worker does what has become due."""

    def pass_by(number: int) -> None:
        for _ in range(number):
            clock.advance(minutes=1)
            tasks.look_after()
            work()

    return pass_by


@pytest.fixture
def receiver(settings) -> Receiver:
    """A receiver on this machine, which this installation allows. It does not listen yet."""
    settings.VACUARY_WEBHOOK_HOSTS = ["127.0.0.1"]
    made = Receiver()
    with made.up():
        pass  # it has a port of its own now
    return made


@pytest.fixture
def person(db) -> Operator:
    """An operator."""
    return factories.operator()


@pytest.fixture
def subscription(clock, person, receiver) -> Subscription:
    """Somebody told of everything by webhook."""
    return subscribe(person, "webhook", receiver.url, {})
