"""Which server, with which token: options first, then the environment, then the configuration file."""

import json
import os
import stat
import tempfile
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from client_cli.errors import WrongUse
from client_cli.text import clean

DEFAULT_SERVER = "http://127.0.0.1:8000"
DEFAULT_PATIENCE_S = 30.0  # how long a call that is safe to repeat goes on after its first failure
_API = "/api/v1"
_HOSTS_AT_HOME = ("localhost", "127.0.0.1", "::1")


@dataclass(frozen=True)
class Target:
    """A server's address without a trailing slash, and the token to show it, if any."""

    server: str
    token: str | None


def config_path() -> Path:
    """The configuration file: `config.toml` in the user's own configuration folder."""
    import platformdirs

    return Path(platformdirs.user_config_dir("vacuary")) / "config.toml"


def address(text: str) -> str:
    """A server's address in its plain form. Raises WrongUse when it is not an http or https address."""
    text = text.strip()
    try:
        parts = urlsplit(text)
        usable = parts.scheme in ("http", "https") and bool(parts.hostname) and parts.port != 0
    except ValueError:
        usable = False
    if not usable or parts.query or parts.fragment or parts.username is not None:
        raise WrongUse(
            f"{clean(text) or 'an empty text'} is not the address of a server.",
            "Write it in full, such as https://vacuary.example or http://127.0.0.1:8000.",
        )
    return text.rstrip("/").removesuffix(_API).rstrip("/")


def token(text: str) -> str:
    """A token without the blanks around it. Raises WrongUse when it cannot be one."""
    text = text.strip()
    if not text.isascii() or not text.isprintable() or " " in text:
        raise WrongUse("The token holds characters that no token has.", "Copy it again as one word.")
    return text


def is_in_the_clear(server: str) -> bool:
    """Whether a token sent to this server crosses a network unencrypted."""
    parts = urlsplit(server)
    return parts.scheme == "http" and parts.hostname not in _HOSTS_AT_HOME


def resolve(server: str | None, given_token: str | None, path: Path | None = None) -> Target:
    """The server and token to use, from the options (already merged with the environment) and the file.

    A token from the file goes to the file's server only: naming another server never shows it there.
    """
    stored = Target("", None)
    if server is None or given_token is None:  # with both given, a bad file is in nobody's way
        stored = load(path or config_path())
    chosen = address(server) if server else stored.server or DEFAULT_SERVER
    if given_token:
        return Target(chosen, token(given_token))
    return Target(chosen, stored.token if chosen == stored.server else None)


def load(path: Path) -> Target:
    """What the file says; empty when there is none. Raises WrongUse naming the path when it is unusable."""
    try:
        content = tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return Target("", None)
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise _unusable(path, str(error)) from error
    return _target(path, content)


def _target(path: Path, content: dict[str, Any]) -> Target:
    unknown = sorted(set(content) - {"server", "token"})
    if unknown:
        raise _unusable(path, f"unknown setting {clean(unknown[0])}; it holds `server` and `token` only")
    if not all(isinstance(value, str) for value in content.values()):
        raise _unusable(path, "`server` and `token` must be texts in quotes")
    try:
        stored = token(content.get("token", ""))
        return Target(address(content["server"]) if "server" in content else DEFAULT_SERVER, stored or None)
    except WrongUse as error:
        raise _unusable(path, error.message) from error


def _unusable(path: Path, why: str) -> WrongUse:
    return WrongUse(
        f"The configuration file {path} cannot be used: {why}.",
        "Correct or delete the file, or write it anew with `vacuary connect SERVER`.",
    )


def save(target: Target, path: Path) -> None:
    """Write the file so that only its owner can read it (folder 0700, file 0600), whole or not at all.

    Raises WrongUse naming the path when the folder cannot be written.
    """
    text = f"server = {_quoted(target.server)}\n"
    if target.token:
        text += f"token = {_quoted(target.token)}\n"
    try:
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        path.parent.chmod(0o700)
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=".config-")  # made with 0600
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            file.write(text)
        Path(name).replace(path)
    except OSError as error:
        raise WrongUse(f"The configuration file {path} cannot be written: {error}.") from error


def readable_by_others(path: Path) -> bool:
    """Whether others on this computer could read the file and the token in it."""
    try:
        mode = path.stat().st_mode
    except OSError:
        return False
    return os.name == "posix" and bool(mode & (stat.S_IRWXG | stat.S_IRWXO))


def _quoted(text: str) -> str:
    return json.dumps(text)  # address() and token() let printable ASCII through, where JSON and TOML agree
