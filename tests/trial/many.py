"""The same trial of many communities, each with a seed of its own, on the processors there are."""

import os
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from typing import TypeVar

K = TypeVar("K")
R = TypeVar("R")
_PORTION = 25


def many(one: Callable[[K, int], R], kind: K, communities: int, seed: int) -> list[R]:
    """What `one` makes of so many communities of a kind; the same for the same seed, however many at once."""
    seeds = [seed * 1_000_003 + place for place in range(communities)]
    if communities < 2 * _PORTION:
        return [one(kind, each) for each in seeds]
    workers = min(len(os.sched_getaffinity(0)), 8)
    with ProcessPoolExecutor(workers) as pool:
        return list(pool.map(partial(one, kind), seeds, chunksize=_PORTION))
