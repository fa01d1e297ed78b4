"""How metrics of one run go together at places of a pump model."""

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from registry.answers.blocks import Block
from registry.answers.places import Place
from registry.statistics.correlated import correlations
from registry.statistics.robust import Floats


def bound_at(
    places: Sequence[Place],
    sound: Mapping[tuple[int, int], Block],
    metrics: int,
    pairs: Sequence[tuple[int, int]],
) -> NDArray[np.float32]:
    """Correlations of pairs of metrics over units at clinics that have both: a row a place, a column a pair.

    `sound` has the summaries by place and metric, without units that were set aside. Correlations are drawn
    towards those at the other levels of one programme of one build, measured alike. No question narrows down
    to some of these alone, so what is narrowed down shows the same as all there is.
    """
    levels: dict[Place, list[int]] = {}
    for row, place in enumerate(places):
        levels.setdefault(place._replace(level=""), []).append(row)
    bound = np.zeros((len(places), len(pairs)), np.float32)
    one, other = np.array(pairs, np.intp).reshape(-1, 2).T
    for rows in levels.values():
        of = [_by_unit([sound.get((row, metric)) for metric in range(metrics)]) for row in rows]
        bound[rows] = correlations(of)[:, one, other]
    return bound


def _by_unit(blocks: Sequence[Block | None]) -> Floats:
    """Means with a row a unit at a clinic, whose gauges count alike, and a column a metric; else NaN."""
    keys = [np.zeros(0, np.int64) if of is None else of.unit * 2**32 + of.clinic for of in blocks]
    rows = np.unique(np.concatenate(keys))
    means = np.full((rows.size, len(blocks)), np.nan)
    for column, (key, block) in enumerate(zip(keys, blocks, strict=True)):
        if block is not None:
            at = np.searchsorted(rows, key)
            size = np.bincount(at, minlength=rows.size)
            sums = np.bincount(at, block.mean, minlength=rows.size)
            means[size > 0, column] = sums[size > 0] / size[size > 0]
    return means
