"""Several processes on one embedded cluster: who starts it, who keeps it, who stops it."""

import os
import signal
from contextlib import ExitStack
from pathlib import Path

from psycopg import pq

from registry.config import embedded
from tests.config.processes import HOLD, Process, connect, holder, server_pid, wait_for

FORK = """
import os, sys
from pathlib import Path
from registry.config import embedded
home = Path(sys.argv[1])
embedded.ensure_running(home)
child = os.fork()
if child == 0:
    sys.exit(0)  # runs the exit handlers it inherited
os.waitpid(child, 0)
print(embedded.Cluster(home).ping().name, flush=True)
child = os.fork()
if child == 0:
    embedded.ensure_running(home)
    print("child holds", flush=True)
    sys.stdin.read()
    sys.exit(0)
os.waitpid(child, 0)
"""


def running(home: Path) -> bool:
    return embedded.Cluster(home).ping() is pq.Ping.OK


def test_last_one_out_stops_the_server(home: Path) -> None:
    with holder(home) as first, holder(home) as second:
        assert first.line() == second.line()
        pid = server_pid(home)
        assert first.finish() == (0, "")
        assert running(home)
        assert server_pid(home) == pid
        assert second.finish() == (0, "")
    assert not running(home)
    assert not (home / "postgres" / "data" / "postmaster.pid").exists()


def test_many_at_once_on_a_new_folder_make_one_server(new_home: Path) -> None:
    with ExitStack() as stack:
        crowd = [stack.enter_context(holder(new_home)) for _ in range(4)]
        assert len({member.line() for member in crowd}) == 1
        log = embedded.Cluster(new_home).log.read_text()
        assert [member.finish() for member in crowd] == [(0, "")] * 4
    assert log.count("starting PostgreSQL") == 1
    assert not running(new_home)


def test_a_killed_holder_leaves_the_server_to_the_next(home: Path) -> None:
    with holder(home) as killed:
        killed.line()
        pid = server_pid(home)
        killed.kill()
    assert running(home)
    with holder(home) as following:
        following.line()
        assert server_pid(home) == pid
        assert following.finish() == (0, "")
    assert not running(home)


def test_a_forked_child_neither_stops_the_server_nor_loses_it(home: Path) -> None:
    with Process(FORK, home) as parent:
        assert parent.line() == "OK"
        assert parent.line() == "child holds"
        os.kill(parent.popen.pid, signal.SIGKILL)
        parent.popen.wait()
        assert running(home)
        with holder(home) as other:
            other.line()
            assert other.finish() == (0, "")
        assert running(home)  # the orphaned child still holds it
        assert parent.popen.stdin
        parent.popen.stdin.close()
        assert wait_for(lambda: not running(home))


def test_a_start_during_anothers_start_waits_for_it(new_home: Path) -> None:
    with holder(new_home) as first:
        assert wait_for((new_home / "postgres" / "data.draft").exists)  # it is making the cluster now
        with holder(new_home) as second:
            assert second.line() == first.line()
            assert second.finish() == (0, "")
            assert first.finish() == (0, "")


def test_a_starter_killed_half_way_is_made_up_for(new_home: Path) -> None:
    with holder(new_home) as killed:
        assert wait_for((new_home / "postgres" / "data.draft" / "base").exists)
        killed.kill()
    with holder(new_home) as following:
        with connect(following.line()) as connection:
            assert connection.execute("SELECT current_database()").fetchone() == ("vacuary",)
        assert following.finish() == (0, "")


def test_no_word_reaches_the_user_without_a_runtime_folder(new_home: Path) -> None:
    with Process(HOLD, new_home, XDG_RUNTIME_DIR=None, HOME="/nonexistent") as process:
        process.line()
        assert process.finish() == (0, "")
