"""Why nothing fits a question: its first word that nothing measured has, and what there is instead."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol, Self

from registry.answers.filters import is_rig
from registry.answers.wording import in_words, natural, telling

# More names than this are a list nobody reads.
_MOST = 8
_BLANK = {"programme": "without a programme", "power": "not said", "elevation": "not said"}
UNKNOWN = "unknown"


class Measured(Protocol):
    """What was measured, each piece of it with one word of every kind that questions are narrowed with.

    A revision that nobody knows is UNKNOWN, a rig is its label.
    """

    def __bool__(self) -> bool:
        """Whether there is anything."""
        ...

    def words(self, kind: str) -> set[str]:
        """The words of a kind that there are."""
        ...

    def having(self, kind: str, word: str) -> Self:
        """What has that word, whatever its capitals."""
        ...


@dataclass(frozen=True)
class Rows:
    """The same as rows that have their words by kind."""

    rows: Sequence[Mapping[str, str]]

    def __bool__(self) -> bool:
        """Whether there is any row."""
        return bool(self.rows)

    def words(self, kind: str) -> set[str]:
        """The words of a kind in any row."""
        return {row[kind] for row in self.rows}

    def having(self, kind: str, word: str) -> "Rows":
        """The rows that have that word."""
        wanted = word.upper()
        return Rows([row for row in self.rows if row[kind].upper() == wanted])


def none_has(measured: Measured, wanted: Mapping[str, str | None], rig: str = "") -> str:
    """Return which word of a question nothing measured has, and what there is in its place.

    "none has level 9; there are 1, 2, 3": the words that are not None are gone through in order, each among
    what has those before it, and the rig last, by its label or one of its parts. Empty where nothing was
    measured at all, or where something has all of it.
    """
    left = measured
    for kind, word in wanted.items():
        if word is None:
            continue
        fitting = left.having(kind, word)
        if left and not fitting:
            return f"none has {kind} {_said(kind, word)}; there {_are(kind, left.words(kind))}"
        left = fitting
    labels = left.words("rig") if rig and left else set()
    if labels and not any(is_rig(label, rig) for label in labels):
        return f"none has rig '{rig[:60]}'; there {_are('rig', labels)}"
    return ""


def _said(kind: str, word: str) -> str:
    """A word as it is told: a label as it is."""
    if kind == "revision":
        return word
    return in_words(word) if word else _BLANK.get(kind, "not said")


def _are(kind: str, found: Iterable[str]) -> str:
    """What there is of a kind, in the order people expect: "are 1, 2, 3"."""
    told = set(telling(found).values()) if kind == "rig" else {_said(kind, word) for word in found}
    names = sorted(told, key=natural)
    more = f" and {len(names) - _MOST} more" if len(names) > _MOST else ""
    return f"{'is' if len(names) == 1 else 'are'} {', '.join(names[:_MOST])}{more}"
