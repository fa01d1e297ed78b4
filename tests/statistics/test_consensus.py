"""The consensus of laboratories: its limits, its symmetries, and how often its interval holds the truth."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from registry.statistics.consensus import consensus

METHODS = ("dl", "pm", "reml")
VALUES, OWN = [10.2, 9.4, 10.9, 10.0, 9.1], [0.2, 0.3, 0.25, 0.4, 0.35]


@pytest.mark.parametrize("method", METHODS)
def test_laboratories_that_agree_get_the_weighted_mean(method) -> None:
    found = consensus([10.0, 10.1, 9.9, 10.05], [0.3, 0.2, 0.4, 0.3], method)
    weights = 1 / np.array([0.3, 0.2, 0.4, 0.3]) ** 2
    assert found.between == 0
    assert found.value == pytest.approx(np.average([10.0, 10.1, 9.9, 10.05], weights=weights))
    assert found.u == pytest.approx(weights.sum() ** -0.5)
    assert found.inconsistency == 0


@pytest.mark.parametrize("method", METHODS)
def test_equal_uncertainties_make_the_analysis_of_variance(method) -> None:
    values = np.array([1.0, 2.0, 4.0, 4.5])
    found = consensus(values, np.full(4, 0.5), method)
    assert found.value == pytest.approx(values.mean())
    assert found.between**2 == pytest.approx(values.var(ddof=1) - 0.25, rel=1e-9)
    assert found.interval() == pytest.approx(
        (
            values.mean() - 3.1824463 * values.std(ddof=1) / 2,
            values.mean() + 3.1824463 * values.std(ddof=1) / 2,
        )
    )


def test_an_interval_is_not_narrower_than_stated_uncertainties_make_it() -> None:
    found = consensus([10.0, 10.001, 10.0], [0.5, 0.5, 0.5])
    low, high = found.interval()
    bare_low, bare_high = found.interval(never_narrower=False)
    assert high - low == pytest.approx(2 * 4.3026527 * found.u)
    assert bare_high - bare_low < 0.01 * (high - low)


@pytest.mark.parametrize("method", METHODS)
@settings(deadline=None, max_examples=30)
@given(shift=st.floats(-1e3, 1e3), factor=st.floats(0.01, 100))
def test_it_moves_with_its_unit(method, shift: float, factor: float) -> None:
    plain = consensus(VALUES, OWN, method)
    moved = consensus(shift + factor * np.array(VALUES), factor * np.array(OWN), method)
    assert moved.value == pytest.approx(shift + factor * plain.value, rel=1e-6, abs=1e-6 * factor)
    assert moved.u == pytest.approx(factor * plain.u, rel=1e-6)
    assert moved.between == pytest.approx(factor * plain.between, rel=1e-6)


def test_values_that_are_all_alike() -> None:
    for method in METHODS:
        found = consensus([5.0, 5.0, 5.0], [0.1, 0.2, 0.3], method)
        assert (found.value, found.between, found.inconsistency) == (pytest.approx(5.0), 0.0, 0.0)


def test_the_interval_holds_the_truth_as_often_as_stated() -> None:
    rng = np.random.default_rng(11)
    held = 0
    for _ in range(1500):
        own = rng.uniform(0.2, 1.0, 5)
        low, high = consensus(rng.normal(0, np.hypot(own, 0.7)), own).interval()
        held += low <= 0 <= high
    assert 0.935 <= held / 1500 <= 0.985


@pytest.mark.parametrize(
    ("values", "own", "method"),
    [
        ([1.0], [0.1], "pm"),
        ([1.0, 2.0], [0.1], "pm"),
        ([1.0, 2.0], [0.1, 0.0], "dl"),
        ([1.0, np.nan], [0.1, 0.1], "reml"),
        ([1.0, 2.0], [0.1, 0.1], "other"),
    ],
)
def test_what_makes_no_consensus_is_refused(values, own, method) -> None:
    with pytest.raises(ValueError, match=r"laboratories|finite|no method"):
        consensus(values, own, method)
