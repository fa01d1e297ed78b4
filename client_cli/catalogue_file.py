"""Catalogue files: read, and proposed to another curator."""

import tomllib
from pathlib import Path
from typing import TYPE_CHECKING, Any

from client_cli.errors import WrongUse

if TYPE_CHECKING:
    from client_cli.session import Session


def propose_file(session: "Session", file: Path, why: str) -> dict[str, Any]:
    """Send a catalogue file's differences as proposals; returns the server's document."""
    body = {**read_catalogue(file), "why": why}
    document: dict[str, Any] = session.post("proposals/from-catalogue", body, repeatable=False).document
    return document


def read_catalogue(file: Path) -> dict[str, Any]:
    """The catalogue in a TOML file, dates as ISO texts. Raises WrongUse naming the file and the line."""
    try:
        document = tomllib.loads(file.read_text(encoding="utf-8-sig"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise WrongUse(f"{file} cannot be read: {error}.", "Correct the place named.") from error
    if not isinstance(document.get("pump_model"), list):
        raise WrongUse(f"{file} declares no pump model.", "Begin each with a line [[pump_model]].")
    return {key: _plain(value) for key, value in document.items()}


def _plain(value: Any) -> Any:
    """TOML as JSON takes it: its dates and times become ISO 8601 texts."""
    if isinstance(value, dict):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, list):
        return [_plain(item) for item in value]
    return value.isoformat() if hasattr(value, "isoformat") else value
