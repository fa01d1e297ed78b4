"""The container files and the CI script name only things that exist."""

import importlib
import importlib.util
import os
import re
import shlex
import subprocess
import sys
import tomllib
from pathlib import Path
from typing import Any

import pytest
import yaml
from django.core.management import get_commands

from registry.config.embedded.binaries import major_version

ROOT = Path(__file__).resolve().parents[2]
COMPOSE: dict[str, Any] = yaml.safe_load((ROOT / "docker-compose.yml").read_text())
DOCKERFILE = (ROOT / "Dockerfile").read_text().replace("\\\n", " ")
SETTINGS = (ROOT / "registry" / "config" / "settings.py").read_text()
SERVICES: dict[str, dict[str, Any]] = COMPOSE["services"]
OURS = {name: service for name, service in SERVICES.items() if "build" in service}


def instructions(word: str) -> list[str]:
    """Return what follows each instruction of this name in the Dockerfile."""
    return re.findall(rf"^{word} +(.*)$", DOCKERFILE, re.MULTILINE)


def image_command() -> list[str]:
    (command,) = instructions("CMD")
    parts = yaml.safe_load(command)
    assert isinstance(parts, list)
    return parts


def check_command(command: list[str]) -> None:
    """Fail unless the command runs something this project has."""
    if command[:2] == ["python", "manage.py"]:
        assert command[2] in get_commands()
        assert (ROOT / "manage.py").is_file()
    elif command[:2] == ["python", "-c"]:
        compile(command[2], "health check", "exec")
    else:
        assert command[0] == "gunicorn"
        assert importlib.util.find_spec("gunicorn.__main__")
        kind, module = command[command.index("--config") + 1].split(":")
        assert kind == "python"
        assert importlib.import_module(module).wsgi_app == "registry.config.wsgi:application"


@pytest.mark.parametrize("service", OURS)
def test_every_service_runs_a_command_that_exists(service: str) -> None:
    check_command(OURS[service].get("command") or image_command())
    health = OURS[service].get("healthcheck", {}).get("test")
    if health:
        assert health[0] == "CMD"
        check_command(health[1:])


def test_a_command_that_does_not_exist_is_noticed() -> None:
    with pytest.raises(AssertionError):
        check_command(["python", "manage.py", "no_such_command"])


def test_the_image_starts_web_and_compose_adds_queue_and_migration() -> None:
    assert set(OURS) == {"migrate", "web", "worker"}
    assert OURS["worker"]["command"] == ["python", "manage.py", "worker"]
    assert OURS["migrate"]["command"][2] == "migrate"
    assert image_command()[0] == "gunicorn"


def test_gunicorn_takes_its_settings_and_loads_the_application(new_home: Path) -> None:
    command = [sys.executable, "-m", "gunicorn", "--check-config", *image_command()[1:]]
    environment = {**os.environ, "VACUARY_HOME": str(new_home)}
    done = subprocess.run(command, cwd=ROOT, env=environment, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")
    assert not (new_home / "postgres").exists()


def test_services_get_only_environment_that_the_settings_read() -> None:
    read = set(re.findall(r"\b(?:VACUARY_[A-Z_]+|DATABASE_URL)\b", SETTINGS))
    for service in OURS.values():
        assert set(service["environment"]) <= read
    assert {"DATABASE_URL", "VACUARY_HOME", "VACUARY_SECRET_KEY", "VACUARY_HOSTS"} <= set(
        OURS["web"]["environment"]
    )
    (environment,) = instructions("ENV")
    names = {pair.split("=")[0] for pair in shlex.split(environment)}
    of_others = ("PYTHON", "NUMBA_")  # read by the interpreter and by the compiler of the kernels
    assert {name for name in names if not name.startswith(of_others)} <= read | {"DJANGO_SETTINGS_MODULE"}


def test_secrets_come_from_the_environment_or_nothing_starts() -> None:
    text = (ROOT / "docker-compose.yml").read_text()
    for name in ("VACUARY_DB_PASSWORD", "VACUARY_SECRET_KEY"):
        uses = re.findall(rf"\${{{name}([^}}]*)}}", text)
        assert uses
        assert all(use.startswith(":?") for use in uses)


def test_everything_a_service_refers_to_is_defined() -> None:
    for service in SERVICES.values():
        assert set(service.get("depends_on", {})) <= set(SERVICES)
        for mount in service.get("volumes", []):
            assert mount.split(":")[0] in COMPOSE["volumes"]


def test_the_health_check_calls_by_a_name_the_server_answers_to() -> None:
    health = OURS["web"]["healthcheck"]["test"][-1]
    (name,) = re.findall(r"http://([^:/]+):8000/api/v1/health", health)
    assert name in OURS["web"]["environment"]["VACUARY_HOSTS"].split(",")


def test_the_stock_database_is_the_version_the_embedded_one_is() -> None:
    assert SERVICES["db"]["image"] == f"postgres:{major_version()}"


def test_images_are_named_without_the_address_of_a_registry() -> None:
    images = [SERVICES["db"]["image"], *instructions("FROM")]
    assert all(re.fullmatch(r"[a-z]+:[a-z0-9.-]+", image) for image in images)


def test_the_image_holds_what_it_runs_and_nothing_private() -> None:
    copied = {part for line in instructions("COPY") for part in line.split()[:-1]}
    assert all((ROOT / name).exists() for name in copied)
    assert {"manage.py", "registry", "api", "requirements.lock"} <= copied
    ignored = (ROOT / ".dockerignore").read_text().splitlines()
    assert "*" in ignored
    assert {line[1:] for line in ignored if line.startswith("!")} == copied


def test_the_image_installs_from_hashes_and_runs_as_nobody_special() -> None:
    assert any("--require-hashes -r requirements.lock" in line for line in instructions("RUN"))
    assert instructions("USER")[-1] not in ("root", "0")
    (image,) = instructions("FROM")
    version = re.fullmatch(r"python:(3\.\d+)-slim", image)
    assert version
    wanted = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]["requires-python"]
    low, high = re.findall(r"3\.(\d+)", wanted)
    assert int(low) <= int(version[1].split(".")[1]) < int(high)


def test_the_ci_script_is_sound_bash_and_calls_targets_that_exist() -> None:
    script = ROOT / ".ci" / "run"
    assert os.access(script, os.X_OK)
    assert subprocess.run(["bash", "-n", script], capture_output=True, check=False).returncode == 0
    called = set(re.findall(r"\bmake ([a-z]+)$", script.read_text(), re.MULTILINE))
    assert called == {"check", "demo", "test"}
    targets = set(re.findall(r"^([a-z]+):", (ROOT / "Makefile").read_text(), re.MULTILINE))
    assert called <= targets
