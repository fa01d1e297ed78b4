"""Small matters of writing answers: figures, plurals, the order people expect."""

import re
from math import floor, log10


def figure(value: float | None) -> float | None:
    """A figure to six digits, which is more than any bench carries; None stays None."""
    return None if value is None else float(f"{value:.6g}")


def rounded(value: float, u: float | None) -> str:
    """A figure to the decimal place of its standard uncertainty's first digit, or to three digits without."""
    place = -floor(log10(u)) if u else 2 - floor(log10(abs(value))) if value else 0
    return f"{value:.{min(max(place, 0), 6)}f}"


def in_words(metric: str) -> str:
    """A metric's name as people say it."""
    return metric.replace("_", " ")


def counted(number: int, thing: str) -> str:
    """A number with its noun: 1 unit, 2 units."""
    return f"{number} {thing}" if number == 1 else f"{number} {thing}s"


def natural(text: str) -> tuple[tuple[int, int, str], ...]:
    """Sort key that puts level 2 before level 10 and numbers before words."""
    parts = re.findall(r"\d+|\D+", text)
    return tuple((0, int(part), "") if part.isdecimal() else (1, 0, part) for part in parts)
