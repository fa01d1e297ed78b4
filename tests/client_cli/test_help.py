"""Help for every command, a quick start, and completion."""

import os
import subprocess
import sys

import pytest
import typer

from client_cli.main import app

HEAVY = ("requests", "urllib3", "rich", "tenacity", "platformdirs", "django", "numpy", "pandas")


def commands(group=None, path=()):
    """Every command and group with its path."""
    group = group or typer.main.get_command(app)
    for name, command in group.commands.items():
        yield (*path, name), command
        if hasattr(command, "commands"):
            yield from commands(command, (*path, name))


ALL = dict(commands())


def test_the_commands_of_this_stage_are_there():
    assert {" ".join(path) for path in ALL} == {
        *("connect", "health", "measure", "manifest", "upload", "serial", "distribution", "export"),
        *("alerts", "explain"),
        *("runs", "run", "cycles", "withdraw", "gauge", "gauge declare", "gauge list", "gauge reading"),
        *("compare", "swap", "settings", "claims", "identify", "benches", "list-revision"),
        *("subscriptions", "subscriptions add", "subscriptions list", "subscriptions remove"),
        *("subscriptions replay", "subscriptions rotate", "subscriptions test"),
        *("catalogue", "catalogue load", "catalogue show", "catalogue list", "catalogue history"),
        *("catalogue propose", "catalogue proposals", "catalogue proposal"),
        *("catalogue confirm", "catalogue reject"),
    }


@pytest.mark.parametrize("path", ALL, ids=" ".join)
def test_every_command_has_help_and_so_has_everything_it_takes(vacuary, path):
    assert ALL[path].help
    for parameter in ALL[path].params:
        assert parameter.help, f"{parameter.name} has no help"
    ran = vacuary(*path, "--help")
    assert ran.code == 0
    assert "Usage: vacuary" in ran.out
    assert all(len(line) <= 80 for line in ran.out.splitlines())


@pytest.mark.parametrize("path", [path for path in ALL if not hasattr(ALL[path], "commands")], ids=" ".join)
def test_every_command_answers_in_json_and_takes_a_server(path):
    options = {option for parameter in ALL[path].params for option in parameter.opts}
    assert "--json" in options
    assert path == ("connect",) or {"--server", "--token"} <= options


def test_upload_has_an_option_for_every_provenance_key(vacuary):
    options = {option for parameter in ALL["upload",].params for option in parameter.opts}
    assert {"--pump-model", "--serial", "--level", "--flange-mm", "--zero-offset", "--note"} <= options


def test_without_arguments_short_help_is_shown(vacuary):
    ran = vacuary()
    assert ran.code == 0
    for path in ALL:
        assert f"  {path[0]} " in ran.out
    assert "..." not in ran.out.replace("COMMAND ...", "")
    assert len(ran.out.splitlines()) < 34
    assert all(len(line) <= 88 for line in ran.out.splitlines())


def test_a_mistyped_command_is_answered_with_the_right_one(vacuary):
    assert "'serial'" in vacuary("serail", "x").err


def loaded_by(code, **environment):
    """Which of the slow libraries a fresh process has loaded after running this code."""
    ending = f"\nprint('LOADED', *[name for name in {HEAVY!r} if name in sys.modules])"
    ran = subprocess.run(
        [sys.executable, "-c", f"import sys\n{code}{ending}"],
        env={**os.environ, **environment},
        capture_output=True,
        text=True,
        check=True,
    )
    output, _, loaded = ran.stdout.rpartition("LOADED")
    return output, loaded.split()


def test_version_loads_nothing_slow():
    output, loaded = loaded_by("from client_cli.main import run\nassert run(['--version']) == 0")
    assert output == "vacuary 0.1.0\n"
    assert loaded == []


def test_short_help_loads_nothing_slow():
    _, loaded = loaded_by("from client_cli.main import run\nassert run([]) == 0")
    assert loaded == []


def test_completion_knows_the_commands_and_loads_nothing_slow():
    code = (
        "from client_cli.main import run\n"
        "try:\n    run([])\nexcept SystemExit as ended:\n    assert not ended.code, ended.code"
    )
    output, loaded = loaded_by(
        code, _VACUARY_COMPLETE="complete_bash", COMP_WORDS="vacuary cat", COMP_CWORD="1"
    )
    assert output.split() == ["catalogue"]
    assert loaded == []


def test_completion_can_be_shown(vacuary, monkeypatch):
    monkeypatch.setenv("SHELL", "/bin/bash")
    ran = vacuary("--help")
    assert "--install-completion" in ran.out
    assert "--show-completion" in ran.out


def test_the_client_loads_neither_server_nor_numerics():
    code = (
        "import pkgutil, importlib, client_cli\n"
        "for found in pkgutil.walk_packages(client_cli.__path__, 'client_cli.'):\n"
        "    importlib.import_module(found.name)"
    )
    _, loaded = loaded_by(code)
    assert {"requests", "rich", "tenacity"} <= set(loaded)
    assert not {"django", "numpy", "pandas"} & set(loaded)
