"""Django, its pool, procrastinate and the interactive client on the embedded database."""

import asyncio
import os
import signal
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from django.db import OperationalError, connection, connections
from procrastinate import psycopg_connector

from registry.config import embedded
from registry.config.postgresql.base import DatabaseWrapper
from tests.config.processes import Process, holder, server_pid, wait_for

ONLY_LOOKS = """
import sys
from contextlib import contextmanager
from pathlib import Path
from django.conf import settings
engine = {"ENGINE": "registry.config.postgresql", "NAME": "vacuary"}
settings.configure(DATABASES={"default": engine}, VACUARY_HOME=Path(sys.argv[1]))
import django
django.setup()
from django.db import connection
assert connection.vendor == "postgresql"
assert connection.ops.quote_name("a") == '"a"'
print("looked", flush=True)
"""


@pytest.fixture
def open_new(new_home: Path, settings: Any, django_db_blocker: Any) -> Iterator[Any]:
    """Return a maker of connections to a cluster that does not exist yet."""
    with maker_of_connections(new_home, settings, django_db_blocker) as make:
        yield make
    embedded.release(new_home)


@pytest.fixture
def open_wrapper(home: Path, settings: Any, django_db_blocker: Any) -> Iterator[Any]:
    """Return a maker of connections to a cluster of this test's own."""
    with maker_of_connections(home, settings, django_db_blocker) as make:
        yield make
    embedded.release(home)


@pytest.fixture
def open_shared(shared_home: Path, settings: Any, django_db_blocker: Any) -> Iterator[Any]:
    """Return a maker of connections to a cluster that keeps running between tests."""
    with maker_of_connections(shared_home, settings, django_db_blocker) as make:
        yield make


@contextmanager
def maker_of_connections(home: Path, settings: Any, django_db_blocker: Any) -> Iterator[Any]:
    settings.VACUARY_HOME = home
    opened: list[DatabaseWrapper] = []

    def make(**options: Any) -> DatabaseWrapper:
        base = {"ENGINE": "registry.config.postgresql", "NAME": "vacuary", "OPTIONS": options}
        blank = {"USER": "", "PASSWORD": "", "HOST": "", "PORT": "", "CONN_MAX_AGE": 0}
        wrapper = DatabaseWrapper({**connection.settings_dict, **blank, **base}, alias=f"own{len(opened)}")
        connections[wrapper.alias] = wrapper  # where the receivers of Django's signal look it up
        opened.append(wrapper)
        return wrapper

    with django_db_blocker.unblock():
        yield make
        for wrapper in opened:
            wrapper.close()
            wrapper.close_pool()
            del connections[wrapper.alias]


def execute(wrapper: DatabaseWrapper, *statements: str) -> None:
    with wrapper.cursor() as cursor:
        for statement in statements:
            cursor.execute(statement)


def cut_off(wrapper: DatabaseWrapper) -> bool:
    """Tell whether the connection is dead; its process may outlive the server's first by a moment."""
    try:
        ask(wrapper, "SELECT 1")
    except OperationalError:
        return True
    return False


def ask(wrapper: DatabaseWrapper, question: str) -> Any:
    with wrapper.cursor() as cursor:
        cursor.execute(question)
        return cursor.fetchone()


def test_a_process_that_never_connects_starts_nothing(new_home: Path) -> None:
    with Process(ONLY_LOOKS, new_home) as process:
        assert process.line() == "looked"
        assert process.finish() == (0, "")
    assert not (new_home / "postgres").exists()


def test_connecting_starts_the_server(new_home: Path, open_new: Any) -> None:
    wrapper = open_new()
    assert not (new_home / "postgres").exists()
    assert ask(wrapper, "SELECT current_user, current_database()") == ("vacuary", "vacuary")
    assert wrapper.get_database_version() >= (18,)


def test_the_role_may_do_what_the_application_needs(open_shared: Any) -> None:
    wrapper = open_shared()
    execute(wrapper, "CREATE EXTENSION btree_gist", "CREATE EXTENSION pg_trgm")
    assert ask(wrapper, "SELECT rolsuper, rolcreatedb FROM pg_roles WHERE rolname = 'vacuary'") == (
        False,
        True,
    )


def test_the_next_connection_after_a_kill_brings_the_server_back(home: Path, open_wrapper: Any) -> None:
    wrapper = open_wrapper()
    execute(wrapper, "CREATE TABLE kept AS SELECT 7 AS n")
    os.kill(server_pid(home), signal.SIGKILL)
    assert wait_for(lambda: cut_off(wrapper))
    wrapper.close()
    assert ask(wrapper, "SELECT n FROM kept") == (7,)


def test_a_refusal_by_a_running_server_is_passed_on(open_shared: Any) -> None:
    wrapper = open_shared()
    wrapper.settings_dict["NAME"] = "no_such_database"
    with pytest.raises(OperationalError, match="no_such_database"):
        ask(wrapper, "SELECT 1")


def test_a_cluster_that_cannot_run_is_a_database_error(new_home: Path, open_new: Any) -> None:
    (new_home / "postgres").write_text("in the way")
    with pytest.raises(OperationalError, match="Set VACUARY_HOME"):
        ask(open_new(), "SELECT 1")


def test_the_pool_works_and_outlives_a_kill(home: Path, open_wrapper: Any) -> None:
    wrapper = open_wrapper(pool={"min_size": 1, "max_size": 2, "timeout": 2})
    assert ask(wrapper, "SELECT 1") == (1,)
    wrapper.close()
    os.kill(server_pid(home), signal.SIGKILL)
    with holder(home) as other:
        other.line()
        wrapper.close_pool()
        assert ask(wrapper, "SELECT 2") == (2,)


def test_the_queue_worker_connects_with_the_same_parameters(open_shared: Any) -> None:
    parameters = open_shared().get_connection_params()
    # What procrastinate takes out before it hands the rest to its own pool.
    for name in ("cursor_factory", "context"):
        parameters.pop(name, None)
    connector = psycopg_connector.PsycopgConnector(kwargs=parameters)

    async def ask_it() -> Any:
        await connector.open_async()
        try:
            return await connector.execute_query_one_async("SELECT current_user AS who")
        finally:
            await connector.close_async()

    assert asyncio.run(ask_it()) == {"who": "vacuary"}


def test_the_interactive_client_finds_the_server(open_shared: Any, capfd: pytest.CaptureFixture[str]) -> None:
    open_shared().client.runshell(["-A", "-t", "-c", "SELECT 'psql as ' || current_user"])
    assert capfd.readouterr().out == "psql as vacuary\n"
