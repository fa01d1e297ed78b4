"""Histograms: everything is counted once, on edges people can read."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from registry.statistics.histogram import histogram


def test_round_edges() -> None:
    found = histogram([231.0, 236.0, 238.0, 239.0, 240.0, 241.0, 242.0, 244.0, 249.0])
    assert found.edges == (230.0, 235.0, 240.0, 245.0, 250.0)
    assert found.counts == (1, 3, 4, 1)


def test_equal_values_make_one_bin_and_none_no_bin() -> None:
    assert histogram([70.0, 70.0, 70.0]).counts == (3,)
    assert histogram([0.0]).counts == (1,)
    assert histogram([]).counts == ()


def test_a_wild_value_does_not_make_thousands_of_bins() -> None:
    values = np.append(np.random.default_rng(1).normal(240, 1, 500), 5000.0)
    found = histogram(values)
    assert len(found.counts) <= 31
    assert found.counts[-1] == 1


@given(st.lists(st.floats(-1e4, 1e4), min_size=1, max_size=60))
def test_each_value_is_counted_once_within_the_edges(values: list[float]) -> None:
    found = histogram(values)
    assert sum(found.counts) == len(values)
    assert len(found.edges) == len(found.counts) + 1 <= 35
    width = found.edges[1] - found.edges[0]
    assert found.edges[0] <= min(values) + 1e-9 * width + 1e-12
    assert max(values) <= found.edges[-1] + 1e-9 * width + 1e-12
    assert np.diff(found.edges) == pytest.approx(width)
