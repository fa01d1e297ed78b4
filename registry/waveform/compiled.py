"""The one door to the compiler. Kernels are plain functions on arrays, compiled as their module loads.

What a kernel's annotations name is what it is compiled for, and nothing else: a call never compiles, it only
runs, and arguments of other types are a TypeError. Machine code is kept in a folder named by a digest of all
kernels, so an edit to one that others call cannot leave old code in use. Kernels therefore take constants
from kernel modules only.
"""

import atexit
import hashlib
import os
import pickle
import shutil
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from threading import RLock
from typing import Annotated, Any, ParamSpec, TypeVar, get_args, get_origin, get_type_hints

import numba
import numpy as np
import platformdirs
from numpy.typing import NDArray

from .types import Flags, Floats

Given = ParamSpec("Given")
Result = TypeVar("Result")
Indices = NDArray[np.intp]
Rows = Annotated[NDArray[np.float64], "two dimensions"]
Octets = NDArray[np.uint8]

SOURCES = Path(__file__).parent / "kernels"
_compiler: Any = numba  # its own types know no option that spares the wrapper for callers in C
config: Any = numba.config
_TYPES: dict[Any, Any] = {
    float: numba.float64,
    int: numba.int64,
    bool: numba.boolean,
    Floats: numba.float64[::1],
    Indices: numba.intp[::1],
    Flags: numba.boolean[::1],
    Rows: numba.float64[:, ::1],
    Octets: numba.types.Array(numba.uint8, 1, "C", readonly=True),
}
_one_at_a_time = RLock()


def compiled(function: Callable[Given, Result]) -> Callable[Given, Result]:
    """The function as machine code that runs without the interpreter's lock; arrays have to be contiguous.

    Division by zero gives inf or NaN, without a warning. Where code cannot be kept it is compiled for this
    process alone.
    """
    hints = get_type_hints(function, include_extras=True)
    wanted = tuple(_type_of(hint) for name, hint in hints.items() if name != "return")
    with _kept_in(_room()) as room:
        try:
            return _compile(function, wanted, keep=room is not None)
        except (EOFError, pickle.UnpicklingError):
            shutil.rmtree(str(room), ignore_errors=True)  # cut short by a power cut or a full disk
            return _compile(function, wanted, keep=not Path(str(room)).exists())
        except (OSError, RuntimeError):  # RuntimeError: the compiler found no folder that serves
            return _compile(function, wanted, keep=False)


def _type_of(hint: Any) -> Any:
    if get_origin(hint) is tuple:
        return _compiler.types.Tuple([_type_of(part) for part in get_args(hint)])
    return _TYPES[hint]


def _compile(
    function: Callable[Given, Result], wanted: tuple[Any, ...], *, keep: bool
) -> Callable[Given, Result]:
    options = {"cache": keep, "nogil": True, "error_model": "numpy", "no_cfunc_wrapper": True}
    made: Callable[Given, Result] = _compiler.njit(wanted, **options)(function)
    return made


@contextmanager
def _kept_in(room: str | None) -> Iterator[str | None]:
    """The compiler's folder for machine code, ours for as long as one kernel takes."""
    with _one_at_a_time:
        usual, config.CACHE_DIR = config.CACHE_DIR, room or ""
        try:
            yield room
        finally:
            config.CACHE_DIR = usual


@cache
def _room() -> str | None:
    """The folder to keep machine code in: the first that can be written, or a copy of one that cannot.

    Asked are NUMBA_CACHE_DIR, beside the kernels, and the user's cache. None where nothing can be written.
    """
    name = f"kernels-{_digest()}"
    for base in (config.CACHE_DIR, SOURCES / "__pycache__", platformdirs.user_cache_path("vacuary")):
        if not base:
            continue
        room = Path(base) / name
        if _can_write(room):
            return str(room)
        if room.is_dir():
            return _copy_of(room)
    return None


def _digest() -> str:
    found = hashlib.sha256()
    for path in (Path(__file__), *sorted(SOURCES.glob("*.py"))):
        found.update(path.read_bytes())
    return found.hexdigest()[:16]


def _can_write(room: Path) -> bool:
    try:
        room.mkdir(parents=True, exist_ok=True)
        tempfile.TemporaryFile(dir=room).close()
    except OSError:
        return False
    return os.access(room, os.R_OK | os.X_OK)


def _copy_of(room: Path) -> str | None:
    """A private copy, for the life of this process, of a folder that came with a read-only installation."""
    try:
        copy = tempfile.mkdtemp(prefix="vacuary-kernels-")
        atexit.register(shutil.rmtree, copy, ignore_errors=True)
        shutil.copytree(room, copy, dirs_exist_ok=True)
        for folder in (Path(copy), *Path(copy).glob("*/")):
            folder.chmod(0o700)  # it is as read-only as what was copied, and the compiler wants to write
    except OSError:
        return None
    return copy
