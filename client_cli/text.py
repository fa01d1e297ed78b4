"""Text from files and from the server made safe for a terminal."""

import difflib
import re
from collections.abc import Iterable, Mapping
from typing import Any

# An escape sequence goes as a whole (colour, cursor, window title), so that no "[31m" is left behind.
_SEQUENCES = re.compile(r"\x1b(?:\[[0-?]*[ -/]*[@-~]|\][^\x07\x1b]*(?:\x07|\x1b\\)?|[@-Z\\-_])")
_SPACES = re.compile(r"[\t\r\n\v\f\u2028\u2029]+")
# C0 and C1 controls, marks that turn the direction of the text around them, and halves of letters
# (surrogates), which stand for bytes of a file's name that are no text.
_CONTROLS = re.compile(r"[\x00-\x1f\x7f-\x9f\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069\ufeff\ud800-\udfff]")


def clean(value: object) -> str:
    """The value as one line of printable text: no escape sequence, no control character."""
    text = _SEQUENCES.sub("", str(value))
    return _CONTROLS.sub("", _SPACES.sub(" ", text)).strip()


def nearest(word: str, known: Iterable[str], most: int = 3, alike: float = 0.6) -> list[str]:
    """The known words most like `word`, best first, whatever their case.

    `alike` is the least likeness from 0 to 1; the list is empty when no word comes that close.
    """
    by_folded = {name.casefold(): name for name in known}
    found = difflib.get_close_matches(word.casefold(), by_folded, n=most, cutoff=alike)
    return [by_folded[name] for name in found]


def one_line(value: Any) -> str:
    """Any JSON value in one line of plain words: mappings as `key value, ...`, lists joined by commas."""
    if value is None or value == "":
        return "-"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.6g}"
    if isinstance(value, Mapping):
        return ", ".join(f"{clean(key)} {one_line(item)}" for key, item in value.items()) or "-"
    if isinstance(value, list | tuple):
        return ", ".join(one_line(item) for item in value) or "-"
    return clean(value)
