"""Why nothing fits a question: its first word that nothing measured has, and what there is instead."""

from collections.abc import Iterable, Mapping, Sequence

from registry.answers.filters import is_rig
from registry.answers.wording import in_words, natural, telling

# More names than this are a list nobody reads.
_MOST = 8
_BLANK = {"programme": "without a programme", "power": "not said", "elevation": "not said"}
UNKNOWN = "unknown"


def none_has(rows: Sequence[Mapping[str, str]], wanted: Mapping[str, str | None], rig: str = "") -> str:
    """Return which word of a question no row has, and what there is in its place.

    "none has level 9; there are 1, 2, 3": the words that are not None are gone through in order, each among
    the rows that fit those before it, and the rig last, by its label or one of its parts. Each row tells what
    it is of by the names of these words; a revision that nobody knows is UNKNOWN. Empty where there is no row
    at all, or where some row has all of it.
    """
    left = list(rows)
    for name, value in wanted.items():
        if value is None:
            continue
        fitting = [row for row in left if row[name].upper() == value.upper()]
        if left and not fitting:
            return f"none has {name} {_said(name, value)}; there {_are(name, left)}"
        left = fitting
    if rig and left and not any(is_rig(row["rig"], rig) for row in left):
        return f"none has rig '{rig[:60]}'; there {_are('rig', left)}"
    return ""


def _said(name: str, value: str) -> str:
    """A value as it is told: a label as it is."""
    if name == "revision":
        return value
    return in_words(value) if value else _BLANK.get(name, "not said")


def _are(name: str, rows: Iterable[Mapping[str, str]]) -> str:
    """What there is of a kind, in the order people expect: "are 1, 2, 3"."""
    found = {row[name] for row in rows}
    told = set(telling(found).values()) if name == "rig" else {_said(name, value) for value in found}
    names = sorted(told, key=natural)
    more = f" and {len(names) - _MOST} more" if len(names) > _MOST else ""
    return f"{'is' if len(names) == 1 else 'are'} {', '.join(names[:_MOST])}{more}"
