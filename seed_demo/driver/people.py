"""Who signs in: one operator a clinic and two curators, enrolled by manage.py as an administrator does."""

import json
import os
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from client_cli.errors import NotPermitted
from client_cli.session import Session
from seed_demo.driver.home import ROOT, DemoError, demo_home, vacuary_home
from seed_demo.scenario.community import community


@dataclass(frozen=True)
class Person:
    """An operator to enrol."""

    clinic: str
    operator: str
    curator: bool = False

    @property
    def key(self) -> str:
        """How the token file names this person."""
        return f"{self.clinic}/{self.operator}"

    def arguments(self) -> list[str]:
        """What `manage.py enrol` is called with."""
        words = ["--clinic", self.clinic, "--operator", self.operator]
        return [*words, "--curator"] if self.curator else words


@dataclass(frozen=True)
class Tokens:
    """The tokens of the demo's people."""

    by_person: dict[str, str]

    def operator(self, clinic: str) -> str:
        """The token of a clinic's operator."""
        return self.by_person[f"{clinic}/{community().clinic(clinic).operator}"]

    @property
    def curator(self) -> str:
        """The token of the curator who keeps the catalogue."""
        return self.curators[0]

    @property
    def curators(self) -> list[str]:
        """The tokens of all curators."""
        return [self.by_person[person.key] for person in people() if person.curator]


def people() -> list[Person]:
    """One operator a clinic, then the curators."""
    operators = [Person(clinic.code, clinic.operator) for clinic in community().clinics]
    curators = [Person(c.code, c.curator, curator=True) for c in community().clinics if c.curator]
    return [*operators, *curators]


def refuse_foreign(address: str) -> None:
    """Raise DemoError when the registry holds clinics that are not the demo's own."""
    try:
        with Session(address) as session:
            codes = [str(row["code"]) for row in session.rows("clinics")]
    except NotPermitted as error:
        raise DemoError(
            "This registry shows its clinics to signed-in readers only, so the demo cannot tell whether it "
            "is the demo's own. Run it with VACUARY_READS=open on a database of its own."
        ) from error
    foreign = sorted(set(codes) - {clinic.code for clinic in community().clinics})
    if foreign:
        named = ", ".join(foreign[:5]) + (" ..." if len(foreign) > 5 else "")
        raise DemoError(
            f"This registry holds clinics that are not the demo's ({named}); the demo fills only a database "
            "of its own. Choose another VACUARY_HOME or DATABASE_URL."
        )


def sign_in(address: str) -> Tokens:
    """Tokens for everyone: those of an earlier demo where they still hold, new ones otherwise."""
    path = demo_home() / "tokens.json"
    kept = {key: token for key, token in _kept(path).items() if _holds(address, token)}
    tokens = kept | _enrol([person for person in people() if person.key not in kept])
    _keep(path, tokens)
    return Tokens(tokens)


def _enrol(wanted: Sequence[Person]) -> dict[str, str]:
    """Enrol people through `manage.py enrol`; tokens by person."""
    if not wanted:
        return {}
    done = subprocess.run(
        [sys.executable, "-m", "seed_demo.driver.enrolling"],
        input=json.dumps([person.arguments() for person in wanted]),
        cwd=ROOT,
        env=os.environ | {"VACUARY_HOME": str(vacuary_home())},
        capture_output=True,
        text=True,
        check=False,
    )
    if done.returncode != 0:
        raise DemoError(f"The clinics could not be enrolled:\n{done.stderr.strip()}")
    printed = [json.loads(line) for line in done.stdout.splitlines()]
    return {person.key: str(row["token"]) for person, row in zip(wanted, printed, strict=True)}


def _holds(address: str, token: str) -> bool:
    """Whether a token still signs in: a withdrawn or foreign one is refused before anything else."""
    try:
        with Session(address, token) as session:
            session.get("runs", {"mine": "true", "page_size": 1})
    except NotPermitted:
        return False
    return True


def _kept(path: Path) -> dict[str, str]:
    try:
        told = json.loads(path.read_text())
    except (OSError, ValueError):
        return {}
    known = {person.key for person in people()}
    return {k: v for k, v in told.items() if k in known and isinstance(v, str)}


def _keep(path: Path, tokens: dict[str, str]) -> None:
    """Write the tokens so that only this user can read them."""
    path.touch(mode=0o600)
    path.chmod(0o600)
    path.write_text(json.dumps(tokens, indent=2) + "\n")
