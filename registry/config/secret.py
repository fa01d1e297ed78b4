"""The signing key of an installation that was given none."""

import os
import secrets
from pathlib import Path


def secret_key(home: Path) -> str:
    """Return the key kept in `home`, making it on first use.

    Two processes may start at once: the file is written aside and linked into place, so both read the
    same key and neither ever reads half of one.
    """
    path = home / "secret_key"
    if not path.exists():
        # Run by root, the embedded database is another user's, who must pass through but not look around.
        home.mkdir(parents=True, exist_ok=True, mode=0o711 if os.geteuid() == 0 else 0o700)
        draft = home / f"secret_key.{os.getpid()}"
        draft.touch(mode=0o600)
        draft.write_text(secrets.token_urlsafe(50), encoding="ascii")
        try:
            os.link(draft, path)
        except FileExistsError:
            pass  # the other process was first; its key is the one
        finally:
            draft.unlink()
    return path.read_text(encoding="ascii")
