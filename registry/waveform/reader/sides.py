"""Which side of a double pump the heading of a column names."""

import re
from collections.abc import Sequence

from registry.waveform.types import Side

_LEFT = frozenset(
    ("l", "lh", "lhs", "lft", "left", "links", "linke", "linker", "linkes", "gauche", "izq", "izquierda",
     "izquierdo", "sinistra", "sinistro", "esquerda", "esquerdo")
)  # fmt: skip
_RIGHT = frozenset(
    ("r", "rh", "rhs", "rgt", "right", "rechts", "rechte", "rechter", "rechtes", "droite", "droit", "der",
     "derecha", "derecho", "destra", "destro", "direita", "direito")
)  # fmt: skip
# Too short to tell a side by themselves: told only where two headings differ by nothing else.
_PAIRS = (("g", "d"), ("i", "d"), ("s", "d"), ("li", "re"), ("sx", "dx"))
_GLUED = (("left", "right"), ("links", "rechts"), ("gauche", "droite"), ("l", "r"))
_HUMPS = re.compile(r"(?<=[a-z0-9])(?=[A-Z])")
_PARTS = re.compile(r"[^\W\d_]+")


def side_of(label: str) -> Side | None:
    """The side a heading names in a word of its own, in any capitals, or None."""
    words = set(_words(label))
    left, right = not words.isdisjoint(_LEFT), not words.isdisjoint(_RIGHT)
    if left == right:
        return None
    return "left" if left else "right"


def sides_of(labels: Sequence[str]) -> list[Side | None]:
    """The side of each heading; two that tell none alone may do so by differing in nothing else."""
    found = [side_of(label) for label in labels]
    if len(labels) == 2 and found == [None, None]:
        if _differ(labels[0], labels[1]):
            return ["left", "right"]
        if _differ(labels[1], labels[0]):
            return ["right", "left"]
    return found


def _words(label: str) -> list[str]:
    return [word.casefold() for word in _PARTS.findall(_HUMPS.sub(" ", label))]


def _differ(left: str, right: str) -> bool:
    """Whether the second heading is the first with a left word turned into its right one."""
    one, two = _words(left), _words(right)
    if len(one) != len(two):
        return False
    unlike = [pair for pair in zip(one, two, strict=True) if pair[0] != pair[1]]
    if len(unlike) != 1:
        return False
    return unlike[0] in _PAIRS or any(_turned(*unlike[0], *pair) for pair in _GLUED)


def _turned(left: str, right: str, word: str, other: str) -> bool:
    """Whether `word` at an end of `left` turned into `other` gives `right`."""
    ahead = left.startswith(word) and right == other + left[len(word) :]
    behind = left.endswith(word) and right == left[: len(left) - len(word)] + other
    return ahead or behind
