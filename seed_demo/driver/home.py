"""Where the demo runs and keeps its files, and how it talks to the person watching."""

import os
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


class DemoError(Exception):
    """The demo cannot go on, or found something that must not be; the message is for the person watching."""


def vacuary_home() -> Path:
    """The folder of the embedded database and the stored traces, as the server understands VACUARY_HOME."""
    return Path(os.environ.get("VACUARY_HOME") or ROOT / ".vacuary").expanduser().resolve()


def demo_home() -> Path:
    """The demo's own folder below it, for traces, manifests, tokens and the server's log; made if needed."""
    home = vacuary_home() / "demo"
    home.mkdir(parents=True, exist_ok=True)
    return home


def tell(text: str = "") -> None:
    """Print a line at once, so that it stands in order with what commands print."""
    sys.stdout.write(text + "\n")
    sys.stdout.flush()


def title(text: str) -> None:
    """Print a heading."""
    tell(f"\n== {text}")
