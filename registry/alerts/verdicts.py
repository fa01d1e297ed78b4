"""What a rule has to say about one subject, before anything is stored."""

from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any


class Standing(StrEnum):
    """Off raises an alert, clear settles it, and between the two it stays as it was: rules do not flicker."""

    OFF = "off"
    BETWEEN = "between"
    CLEAR = "clear"


@dataclass(frozen=True)
class Rule:
    """A rule's name, its version (raised whenever it may judge differently) and the kind of its subjects."""

    name: str
    version: int
    subject_kind: str


@dataclass(frozen=True)
class Verdict:
    """One subject's standing. `size` is the relative effect, signed; `evidence` is kept as it is now."""

    subject: str
    standing: Standing
    size: float
    confidence: float
    says: str
    evidence: dict[str, Any] = field(default_factory=dict)


def standing(*, is_off: bool, is_clear: bool) -> Standing:
    """The standing that follows from a rule's two limits."""
    if is_off:
        return Standing.OFF
    return Standing.CLEAR if is_clear else Standing.BETWEEN


def percent(relative: float) -> float:
    """A relative figure in per cent to one decimal."""
    return round(100 * relative, 1)


def high_or_low(relative: float) -> str:
    """A relative shift in words: "8.1 % high"."""
    return f"{abs(percent(relative)):g} % {'high' if relative > 0 else 'low'}"
