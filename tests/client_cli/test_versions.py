"""Which clients a server serves."""

import tomllib
from pathlib import Path

import pytest

from client_cli import __version__
from client_cli.versions import misfit


@pytest.mark.parametrize(
    ("version", "served", "miss"),
    [
        ("0.1.0", ">=0.1,<1", None),
        ("0.1.0", ">=0.1.0, <0.2", None),
        ("0.9.12", ">=0.1,<1", None),
        ("1.0.0", ">=0.1,<1", "new"),
        ("1", "<=1.0.0", None),
        ("0.0.9", ">=0.1,<1", "old"),
        ("0.10.0", ">=0.9", None),
        ("0.2.0", "==0.1", "other"),
        ("0.2.0.dev1", ">0.1", None),
        ("0.1.0", "", None),
        ("0.1.0", "any", None),
        ("0.1.0", ">=0.1;<1", None),
    ],
)
def test_ranges(version, served, miss):
    assert misfit(version, served) == miss


def test_the_client_bears_the_project_s_version():
    project = tomllib.loads((Path(__file__).parents[2] / "pyproject.toml").read_text())["project"]
    assert __version__ == project["version"]
