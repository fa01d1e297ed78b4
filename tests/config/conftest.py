"""Folders for clusters that live for one test."""

import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from psycopg import pq

from registry.config import embedded


@contextmanager
def temporary_home() -> Iterator[Path]:
    """Give a new VACUARY_HOME. Whatever server a failed test leaves in it is stopped.

    Not below tmp_path, whose parent another test run closes to all but its owner while this one's server,
    which does not run as root, works below it.
    """
    folder = Path(tempfile.mkdtemp(prefix="vacuary-test-"))
    # A real installation's folder lets others pass or is opened for the server's user alone; both work.
    folder.chmod(0o700)
    yield folder
    for data in folder.rglob("postgres/data"):
        cluster = embedded.Cluster(data.parent.parent)
        sockets = cluster.socket_folder()
        embedded.release(data.parent.parent)
        cluster.stop()
        if sockets:
            shutil.rmtree(
                sockets, ignore_errors=True
            )  # a killed server's, which a next start would have used
    shutil.rmtree(folder)


@pytest.fixture
def new_home() -> Iterator[Path]:
    """Return an empty VACUARY_HOME of this test's own."""
    with temporary_home() as folder:
        yield folder


@pytest.fixture(scope="session")
def made_home() -> Iterator[Path]:
    """Return a VACUARY_HOME with a cluster in it that was made and cleanly stopped; for copying only."""
    with temporary_home() as folder:
        embedded.ensure_running(folder)
        embedded.release(folder)
        yield folder


@pytest.fixture
def home(new_home: Path, made_home: Path) -> Path:
    """Return a VACUARY_HOME of this test's own in which the cluster is made already."""
    return copied(made_home, new_home)


def copied(source: Path, home: Path) -> Path:
    """Copy the cluster of one home into another, owners and all."""
    subprocess.run(["cp", "-a", source / "postgres", home], check=True)
    return home


@pytest.fixture(scope="module")
def shared_home() -> Iterator[Path]:
    """Return a VACUARY_HOME for tests that leave its server alone."""
    with temporary_home() as folder:
        yield folder


def stopped(home: Path) -> bool:
    """Tell whether no server answers in `home`."""
    return embedded.Cluster(home).ping() is pq.Ping.NO_RESPONSE
