"""Whether a server serves this client: ranges of dotted versions, such as `>=0.1,<1`."""

import operator
import re
from collections.abc import Callable

_CLAUSE = re.compile(r"(>=|<=|==|!=|>|<)\s*(\d+(?:\.\d+)*)")
_COMPARE: dict[str, Callable[[tuple[int, ...], tuple[int, ...]], bool]] = {
    ">=": operator.ge,
    "<=": operator.le,
    "==": operator.eq,
    "!=": operator.ne,
    ">": operator.gt,
    "<": operator.lt,
}


def misfit(version: str, served: str) -> str | None:
    """How `version` misses the range `served`: "old", "new", "other", or None when it fits.

    A range that cannot be read binds nobody: a client must not stop working over a header it does not know.
    """
    clauses = _clauses(served)
    if clauses is None:
        return None
    own = _parts(version)
    for sign, bound in clauses:
        if not _holds(own, sign, bound):
            return {">": "old", ">=": "old", "<": "new", "<=": "new"}.get(sign, "other")
    return None


def _clauses(served: str) -> list[tuple[str, tuple[int, ...]]] | None:
    found = [_CLAUSE.fullmatch(clause.strip()) for clause in served.split(",") if clause.strip()]
    if not found or None in found:
        return None
    return [(match[1], _parts(match[2])) for match in found if match]


def _parts(version: str) -> tuple[int, ...]:
    numbers = [int(part) for part in re.findall(r"\d+", re.split(r"[-+]", version, maxsplit=1)[0])]
    while numbers and numbers[-1] == 0:  # 1 and 1.0 and 1.0.0 are one version
        numbers.pop()
    return tuple(numbers)


def _holds(own: tuple[int, ...], sign: str, bound: tuple[int, ...]) -> bool:
    return _COMPARE[sign](own, bound)
