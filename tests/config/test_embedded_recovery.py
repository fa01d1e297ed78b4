"""The embedded cluster after kills, on odd paths, and where it must refuse."""

import os
import shutil
import signal
import stat
from contextlib import suppress
from pathlib import Path

import psycopg
import pytest
from psycopg import pq

from registry.config import embedded
from registry.config.embedded import binaries
from registry.config.embedded import cluster as cluster_module
from registry.config.embedded.account import server_account
from tests.config.conftest import copied, stopped
from tests.config.processes import connect, holder, is_running, server_pid, wait_for


def pid_file(home: Path) -> Path:
    return home / "postgres" / "data" / "postmaster.pid"


@pytest.fixture(scope="module")
def killed(shared_home: Path) -> Path:
    """Return a home as a power cut leaves it: a committed row, a pid file, no process."""
    with holder(shared_home) as user, connect(user.line()) as connection:
        connection.execute("CREATE TABLE kept AS SELECT 42 AS n")
        connection.commit()
        os.kill(server_pid(shared_home), signal.SIGKILL)
        user.kill()
    assert wait_for(lambda: stopped(shared_home))
    return shared_home


@pytest.fixture
def killed_home(new_home: Path, killed: Path) -> Path:
    """Return a copy of that home."""
    assert pid_file(killed).exists()
    return copied(killed, new_home)


def kept_row(home: Path) -> object:
    with connect(embedded.ensure_running(home)) as connection:
        row = connection.execute("SELECT n FROM kept").fetchone()
    embedded.release(home)
    return row


def test_nothing_committed_is_lost_when_the_server_is_killed(killed_home: Path) -> None:
    assert kept_row(killed_home) == (42,)
    assert stopped(killed_home)


def test_a_recycled_process_id_neither_blocks_the_start_nor_is_signalled(killed_home: Path) -> None:
    _, *rest = pid_file(killed_home).read_text().split("\n")
    pid_file(killed_home).write_text(
        "\n".join([str(os.getpid()), *rest])
    )  # the test's own: a signal would end it
    assert kept_row(killed_home) == (42,)


def test_an_empty_pid_file_does_not_block_the_start(killed_home: Path) -> None:
    pid_file(killed_home).write_text("")
    assert kept_row(killed_home) == (42,)


def test_a_living_holder_is_served_again_by_whoever_comes_next(home: Path) -> None:
    with holder(home) as first:
        folder = first.line()
        os.kill(server_pid(home), signal.SIGKILL)
        assert wait_for(lambda: stopped(home))
        with holder(home) as second:
            assert second.line() == folder
            assert second.finish() == (0, "")
        with connect(folder) as connection:  # the first still holds it
            assert connection.execute("SELECT 1").fetchone() == (1,)
        assert first.finish() == (0, "")
    assert stopped(home)


def test_a_folder_that_root_copied_is_handed_back(killed_home: Path) -> None:
    data = killed_home / "postgres" / "data"
    for path in (data, *data.rglob("*")):
        os.chown(path, os.geteuid(), os.getegid())
    assert kept_row(killed_home) == (42,)


def test_a_server_out_of_reach_is_said_in_bounded_time(home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cluster_module, "_UNSEEN_S", 0.2)
    with holder(home) as first:
        folder = Path(first.line())
        moved = folder.rename(folder.with_name(folder.name + "-elsewhere"))  # as seen from another container
        with pytest.raises(embedded.EmbeddedDatabaseError, match=f"out of reach from here, at {folder}"):
            embedded.ensure_running(home)
        moved.rename(folder)
        assert first.finish() == (0, "")


def test_long_and_odd_paths_work(new_home: Path) -> None:
    deep = (
        new_home / 'a folder\'s "name" with $HOME, `id` and %s' / ("Milchpumpenprüfstände" * 5) / ("ж" * 60)
    )
    assert len(str(deep)) > 200
    folder = embedded.ensure_running(deep)
    with connect(folder) as connection:
        assert connection.execute("SELECT 1").fetchone() == (1,)
    embedded.release(deep)
    assert stopped(deep)
    assert not folder.exists()


def test_only_the_owner_reaches_the_server(home: Path) -> None:
    folder = embedded.ensure_running(home)
    cluster = embedded.Cluster(home)
    account = server_account(cluster.folder, cluster.data)
    status = folder.stat()
    assert (stat.S_IMODE(status.st_mode), status.st_uid) == (0o700, account.uid)
    with connect(folder) as connection:
        methods = connection.execute("SHOW listen_addresses").fetchone()
        assert methods == ("",)
    with pytest.raises(psycopg.OperationalError, match="Peer authentication failed"):
        psycopg.connect(host=str(folder), user="somebody_else", dbname="vacuary")
    if os.geteuid() == 0:
        folder.chmod(0o777)  # even then the server itself asks the kernel who is calling
        other = binaries.run("psql", "-h", str(folder), "-U", "vacuary", "vacuary", cwd=Path("/"), user=65534)
        assert other.returncode != 0
        assert "Peer authentication failed" in other.stdout


def test_a_socket_folder_taken_by_somebody_else_is_not_used(home: Path) -> None:
    trap = embedded.ensure_running(home)
    embedded.release(home)
    assert not trap.exists()
    trap.symlink_to(home)
    try:
        folder = embedded.ensure_running(home)
        assert folder != trap
        assert stat.S_IMODE(folder.stat().st_mode) == 0o700
        with holder(home) as joining:
            assert joining.line() == str(folder)
        embedded.release(home)
    finally:
        trap.unlink()


def deleted(folder: Path) -> bool:
    """Delete a folder; False while the server in it put something there meanwhile."""
    shutil.rmtree(folder, ignore_errors=True)
    return not folder.exists()


def test_a_folder_deleted_under_its_server_makes_room_for_a_new_one(home: Path) -> None:
    with holder(home) as first:
        old_folder, old_server = first.line(), server_pid(home)
        first.kill()
    assert wait_for(lambda: deleted(home / "postgres"))
    with holder(home) as second:
        new_folder = second.line()
        assert new_folder != old_folder
        # What it does by itself when it looks for its files, once a minute.
        with suppress(ProcessLookupError):
            os.kill(old_server, signal.SIGQUIT)
        assert wait_for(lambda: not is_running(old_server))
        with connect(new_folder) as connection:
            assert connection.execute("SELECT 1").fetchone() == (1,)
        assert second.finish() == (0, "")
    shutil.rmtree(old_folder, ignore_errors=True)


def test_data_of_another_major_version_is_refused_untouched(home: Path) -> None:
    version = home / "postgres" / "data" / "PG_VERSION"
    version.write_text("9\n")
    with pytest.raises(
        embedded.EmbeddedDatabaseError, match=r"made by PostgreSQL 9; this is PostgreSQL \d+\."
    ):
        embedded.ensure_running(home)
    assert version.read_text() == "9\n"


def test_a_server_that_cannot_start_shows_the_end_of_its_log(home: Path) -> None:
    (home / "postgres" / "data" / "global" / "pg_control").unlink()
    with pytest.raises(embedded.EmbeddedDatabaseError, match="pg_control") as caught:
        embedded.ensure_running(home)
    assert str(embedded.Cluster(home).log) in str(caught.value)


def test_a_folder_that_cannot_be_made_is_named(new_home: Path) -> None:
    (new_home / "file").write_text("in the way")
    with pytest.raises(embedded.EmbeddedDatabaseError, match="Set VACUARY_HOME"):
        embedded.ensure_running(new_home / "file")


def test_writes_are_synced(home: Path) -> None:
    with connect(embedded.ensure_running(home)) as connection:
        settings = ["fsync", "synchronous_commit", "full_page_writes", "data_checksums"]
        assert {name: connection.execute(f"SHOW {name}").fetchone() for name in settings} == dict.fromkeys(
            settings, ("on",)
        )
        (limit,) = connection.execute("SHOW max_connections").fetchone() or ("0",)
        assert int(limit) >= 100
    assert embedded.Cluster(home).ping() is pq.Ping.OK
    embedded.release(home)
