"""Settings from the environment: what cannot be meant ends the program with a plain message."""

import os
import subprocess
import sys

import pytest

SHOW = """
from django.conf import settings
print([settings.ALLOWED_HOSTS, settings.REST_KNOX["TOKEN_TTL"].days, settings.VACUARY_READS_OPEN])
"""


def read(home, **variables):
    environment = {name: value for name, value in os.environ.items() if not name.startswith("VACUARY_")}
    environment |= {"DJANGO_SETTINGS_MODULE": "registry.config.settings", "VACUARY_HOME": str(home)}
    return subprocess.run(
        [sys.executable, "-c", SHOW],
        env=environment | variables,
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )


def test_values_are_taken_with_the_blanks_around_them(tmp_path):
    told = read(
        tmp_path,
        VACUARY_HOSTS="bench.example , ,[::1] ",
        VACUARY_TOKEN_DAYS=" 30",
        VACUARY_READS="Signed-in ",
    )
    assert told.stdout.strip() == "[['bench.example', '[::1]'], 30, False]"


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("VACUARY_TOKEN_DAYS", "x"),
        ("VACUARY_TOKEN_DAYS", "0"),
        ("VACUARY_TOKEN_DAYS", "-3"),
        ("VACUARY_TOKEN_DAYS", "99999"),
        ("VACUARY_READS", "closed"),
        ("VACUARY_CORRECTIONS", "sometimes"),
    ],
)
def test_a_value_that_cannot_be_meant_is_told_plainly(tmp_path, name, value):
    told = read(tmp_path, **{name: value})
    assert told.returncode == 1
    assert told.stderr.startswith(f'{name} is "{value}"; it must be')
    assert "Traceback" not in told.stderr


def test_the_folder_is_not_for_others_to_look_into(tmp_path):
    assert read(tmp_path / "home").returncode == 0
    assert (tmp_path / "home").stat().st_mode & 0o066 == 0
    assert (tmp_path / "home" / "secret_key").stat().st_mode & 0o077 == 0
