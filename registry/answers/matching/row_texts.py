"""Rows of settings as JSON texts, put together of pieces that are the same for many questions."""

from collections.abc import Iterable, Sequence

import numpy as np

from registry.statistics.robust import Floats
from registry.statistics.significant import significant

NULL = "null"
_AHEAD = '"centre":%s,"predict_low":%s,"predict_high":%s'
_METRIC = '"%s":{%%s,"probability":%%s}'
_ROW = (
    '%s,"units":%d,"clinics":%d,"state":"%s","missing":"%s","probability":%s,"distance":null,"within":null,'
    '"metrics":{%s}}'
)


def numbers(values: Floats) -> list[str]:
    """Numbers as they are, null for NaN."""
    found = map(repr, values.tolist())
    if not np.isnan(values).any():
        return list(found)
    return [NULL if unknown else text for unknown, text in zip(np.isnan(values), found, strict=True)]


def ahead_texts(value: Floats, low: Floats, high: Floats) -> list[str]:
    """What is ahead of one metric at some places."""
    columns = significant(np.stack([value, low, high]))
    return [_AHEAD % of for of in zip(*map(numbers, columns), strict=True)]


def metrics_texts(metrics: Iterable[str], ahead: Sequence[Sequence[str]], alone: Floats) -> list[str]:
    """All metrics at some places: what is `ahead` of each, and chances of each by itself, a row a place."""
    form = ",".join(_METRIC % metric for metric in metrics)
    chances = [numbers(column) for column in significant(alone).T]
    columns = [column for pair in zip(ahead, chances, strict=True) for column in pair]
    return [form % of for of in zip(*columns, strict=True)]


def row_text(
    place: str, counts: tuple[int, int], state: str, missing: str, chance: str, metrics: str
) -> bytes:
    """One row of the document; `place` is the beginning of it, `counts` those of units and clinics."""
    return (_ROW % (place, *counts, state, missing, chance, metrics)).encode()
