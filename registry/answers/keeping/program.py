"""Which program answers: an answer kept by another version of it is never served."""

import hashlib
import platform
from functools import lru_cache
from importlib.metadata import version
from pathlib import Path

from django.utils.crypto import salted_hmac

import registry

_LIBRARIES = ("django", "numpy", "pandas", "scipy")


@lru_cache(1)
def code_mark() -> str:
    """Return a digest of all code of the registry, the libraries it counts with, and the secret key.

    The key makes the codes that stand for clinics in answers. Read once a process: code that changes on
    disk takes effect when the process starts again.
    """
    root = Path(str(registry.__file__)).parent if registry.__file__ else Path(next(iter(registry.__path__)))
    digest = hashlib.sha256(platform.python_version().encode())
    for name in _LIBRARIES:
        digest.update(f"{name} {version(name)}\n".encode())
    for path in sorted(root.rglob("*.py")):
        digest.update(f"{path.relative_to(root)}\n".encode() + path.read_bytes())
    return salted_hmac("answers.keeping.program", digest.hexdigest(), algorithm="sha256").hexdigest()[:32]
