"""Small matters of writing answers: figures, plurals, the order people expect."""

import re
from collections.abc import Iterable
from datetime import UTC, datetime
from functools import lru_cache
from itertools import compress
from math import floor, inf, isfinite, log10
from typing import Any

import numpy as np

from registry.models.bench import BETWEEN_PARTS
from registry.statistics.robust import Floats
from registry.statistics.significant import significant


def figure(value: float | None) -> float | None:
    """A figure to six digits, which is more than any bench carries; None stays None."""
    return None if value is None else float(f"{value:.6g}")


def figures(values: Floats) -> list[Any]:
    """Figures of many at once, in lists as the values are in arrays; NaN becomes None."""
    found = significant(values).astype(object)
    found[np.isnan(values)] = None
    return list(found.tolist())


def rounded(value: float, u: float | None, digits: int = 3) -> str:
    """A figure to the decimal place of its standard uncertainty's first digit, and so many digits at most.

    To that of its second digit, which is the finest that JCGM 100 (7.2.6) allows, where units or the whole
    figure would be lost otherwise. Units are never lost to `digits`.
    """
    first = -floor(log10(u)) if u else 0
    if not value:
        return _fixed(value, first)
    most = max(digits - 1 - floor(log10(abs(value))), 0)
    if not u:
        return _fixed(value, most)
    text = _fixed(value, min(most, first if first >= 0 else first + 1))
    finer = _fixed(value, min(most, first + 1))
    return finer if not float(text) and float(finer) else text


def rounded_within(
    value: float, low: float | None, high: float | None, *, wide: float = 4.0, digits: int = 3
) -> str:
    """A figure to the place that its interval supports, which is about so many standard uncertainties wide.

    An interval of 95 % is four wide. Where it has no ends, a figure has `digits`.
    """
    width = high - low if low is not None and high is not None else inf
    return rounded(value, width / wide if isfinite(width) else None, digits)


def _fixed(value: float, places: int) -> str:
    places = min(places, 6)
    return f"{round(value, places):z.{max(places, 0)}f}"  # z: never -0


def in_a_hundred(chance: float, about: str = "") -> str:
    """A chance as people count: 88 in 100, with `about` before a number; never certain."""
    if chance > 0.99:
        return "more than 99 in 100"
    return "less than 1 in 100" if chance < 0.01 else f"{about}{100 * chance:.0f} in 100"


def in_words(metric: str) -> str:
    """A metric's name as people say it."""
    return metric.replace("_", " ")


def counted(number: int, thing: str) -> str:
    """A number with its noun: 1 unit, 2 units."""
    return f"{number} {thing}" if number == 1 else f"{number} {thing}s"


def dated(says: str, moment: datetime | None) -> str:
    """A line that ends with a full stop, with the past time it tells of; as it is for None."""
    if moment is None:
        return says
    return f"{says.removesuffix('.')} (as of {moment.astimezone(UTC):%Y-%m-%d %H:%M} UTC)."


@lru_cache(4096)
def natural(text: str) -> tuple[tuple[int, int, str], ...]:
    """Sort key that puts level 2 before level 10 and numbers before words."""
    parts = re.findall(r"\d+|\D+", text)
    return tuple((0, int(part), "") if part.isdecimal() else (1, 0, part) for part in parts)


def telling(labels: Iterable[str], between: str = BETWEEN_PARTS) -> dict[str, str]:
    """Each label cut down to the parts in which the labels differ; whole where they are not built alike."""
    parts = {label: label.split(between) for label in labels}
    if len({len(of) for of in parts.values()}) != 1:
        return {label: label for label in parts}
    differ = [len(set(column)) > 1 for column in zip(*parts.values(), strict=True)]
    return {label: between.join(compress(of, differ)) or label for label, of in parts.items()}
