"""Rules for all tests: nothing leaves this machine, and no installation's folder is touched."""

import json
from collections.abc import Iterator
from datetime import date

import orjson
import pytest
import pytest_socket
from django.db import connection

from registry.intake import benches


def pytest_runtest_setup() -> None:
    """Allow loopback and Unix sockets only."""
    pytest_socket.socket_allow_hosts(["127.0.0.1", "::1", "localhost"], allow_unix_socket=True)


@pytest.fixture(autouse=True)
def nothing_remembered():
    """A test that empties the database must leave nothing remembered of it."""
    benches.forget()


@pytest.fixture(autouse=True)
def only_numbers_written(monkeypatch):
    """What is no number would be written as null: no answer may come to that."""
    dumps = orjson.dumps

    def checked(value, default=None, option=None):
        json.dumps(
            value, default=lambda one: str(one) if isinstance(one, date) else default(one), allow_nan=False
        )
        return dumps(value, default, option)

    monkeypatch.setattr(orjson, "dumps", checked)


@pytest.fixture(autouse=True)
def queue_emptied(request) -> Iterator[None]:
    """Leave no job behind: emptying the database after a committing test passes over the queue's tables."""
    marker = request.node.get_closest_marker("django_db")
    commits = {"transactional_db", "live_server"} & set(request.fixturenames)
    if not commits and not (marker and marker.kwargs.get("transaction")):
        yield
        return
    request.getfixturevalue("transactional_db")
    yield
    with connection.cursor() as cursor:
        cursor.execute("TRUNCATE procrastinate_jobs CASCADE")


@pytest.fixture(autouse=True)
def trace_folder(settings, tmp_path):
    """Keep the traces of each test in a folder of its own."""
    settings.STORAGES = {
        **settings.STORAGES,
        "traces": {
            "BACKEND": "registry.config.storage.DurableFileStorage",
            "OPTIONS": {"location": tmp_path / "traces"},
        },
    }
