"""A registry to talk to, a home without configuration, and a way to run the command line."""

import io
import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from client_cli import main, retry
from client_cli.session import Session
from tests.client_cli.documents import ANSWERS
from tests.client_cli.server import TOKEN, Listening, Registry


@pytest.fixture(autouse=True)
def home(tmp_path, monkeypatch) -> Path:
    """A home folder of the test's own, so that nobody's configuration or journal is read or written."""
    folder = tmp_path / "home"
    folder.mkdir()
    for name in ("HOME", "USERPROFILE"):
        monkeypatch.setenv(name, str(folder))
    for name, below in (("XDG_CONFIG_HOME", "config"), ("XDG_STATE_HOME", "state")):
        monkeypatch.setenv(name, str(folder / below))
    for name in ("VACUARY_SERVER", "VACUARY_TOKEN", "VACUARY_PATIENCE", "FORCE_COLOR", "NO_COLOR"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("COLUMNS", "80")
    return folder


@pytest.fixture
def registry() -> Registry:
    """The server's side of the contract; set its answers and troubles before talking to it."""
    return Registry()


@pytest.fixture
def server(registry) -> Iterator[Listening]:
    """The registry, listening."""
    listening = Listening(registry)
    yield listening
    listening.close()


@pytest.fixture
def short_waits(monkeypatch) -> None:
    """Waits between tries of a few milliseconds."""
    monkeypatch.setattr(retry, "FIRST_WAIT_S", 0.002)
    monkeypatch.setattr(retry, "LONGEST_WAIT_S", 0.01)


@pytest.fixture
def session(server, short_waits) -> Iterator[Session]:
    """A signed-in session with the listening registry."""
    with Session(server.url, TOKEN, patience_s=5) as made:
        yield made


@dataclass
class Ran:
    """What a command left behind."""

    code: int
    out: str
    err: str

    @property
    def json(self) -> Any:
        return json.loads(self.out)


@pytest.fixture
def vacuary(server, short_waits, capsys, monkeypatch) -> Callable[..., Ran]:
    """Run `vacuary ARGUMENTS` as the console script does, signed in at the listening registry."""
    monkeypatch.setenv("VACUARY_SERVER", server.url)
    monkeypatch.setenv("VACUARY_TOKEN", TOKEN)
    monkeypatch.setenv("VACUARY_PATIENCE", "5")

    def run(*arguments: object, stdin: str = "") -> Ran:
        monkeypatch.setattr("sys.stdin", io.StringIO(stdin))
        capsys.readouterr()
        code = main.run([str(argument) for argument in arguments])
        captured = capsys.readouterr()
        return Ran(code, captured.out, captured.err)

    return run


@pytest.fixture
def sweep(tmp_path) -> Callable[..., Path]:
    """Write a manifest with a trace for each content given, and return its path."""

    def write(*contents: bytes, folder: str = "sweep") -> Path:
        base = tmp_path / folder
        (base / "traces").mkdir(parents=True)
        lines = ["file,pump_model,serial,mode,level"]
        for level, content in enumerate(contents, start=1):
            (base / "traces" / f"{level}.csv").write_bytes(content)
            lines.append(f"traces/{level}.csv,Pellomi,LK000123,expression,{level}")
        path = base / "sweep.csv"
        path.write_text("\n".join(lines) + "\n")
        return path

    return write


@pytest.fixture
def filled(registry):
    """A registry that answers every question."""
    registry.answers.update({key: (200, answer) for key, answer in ANSWERS.items()})
    return registry


@pytest.fixture
def trace(tmp_path):
    path = tmp_path / "trace.csv"
    path.write_bytes(b"0;0")
    return path


@pytest.fixture
def catalogue(tmp_path):
    path = tmp_path / "catalogue.toml"
    path.write_text(
        '[[pump_model]]\nmaker = "Ostrevall"\nname = "Pellomi"\n'
        '[[pump_model.revision]]\nlabel = "A"\norder = 1\nseen = 2025-03-02\n'
    )
    return path
