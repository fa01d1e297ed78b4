"""JSON as it comes from outside: read strictly, so that what is stored is what was sent."""

import json
import math
from collections import Counter
from typing import Any


def parse(text: str) -> Any:
    """Return what the JSON `text` holds.

    Raises ValueError saying what is wrong: broken syntax, a key that comes twice (the later would silently
    win), a number JSON or this registry cannot hold, keys that are no text, or nesting without end.
    """
    try:
        return json.loads(text, object_pairs_hook=_object, parse_constant=_no_constant, parse_float=_number)
    except RecursionError:
        raise ValueError("it is nested too deeply") from None


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        twice, _ = Counter(key for key, _ in pairs).most_common(1)[0]
        raise ValueError(f"the key {twice[:40]!a} comes more than once")
    for key in found:
        if not _is_text(key):
            raise ValueError(f"the key {key[:40]!a} holds signs that are no text")
    return found


def _is_text(key: str) -> bool:
    """Lone surrogates and the null character are no text, and no database stores them."""
    return "\0" not in key and not any("\ud800" <= sign <= "\udfff" for sign in key)


def _no_constant(name: str) -> None:
    raise ValueError(f"{name} is not a number of JSON")


def _number(text: str) -> float:
    number = float(text)
    if not math.isfinite(number):
        raise ValueError(f"the number {text[:40]} is too large")
    return number
