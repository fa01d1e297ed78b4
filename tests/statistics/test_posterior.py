"""Chances of builds, the bands of evidence, and what is named."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from registry.statistics.posterior import UNLISTED, Band, band_of, judge, posterior, prior_of, weigh


def test_all_builds_are_alike_before_looking() -> None:
    assert prior_of(3).tolist() == pytest.approx([*[(1 - UNLISTED) / 3] * 3, UNLISTED])
    with pytest.raises(ValueError, match="needs a build"):
        prior_of(0)


@given(st.lists(st.lists(st.floats(-2000, 0), min_size=3, max_size=3), max_size=4))
def test_chances_add_up_to_one_and_do_not_mind_the_order(logs) -> None:
    pieces = [np.array(one) for one in logs]
    after = posterior(prior_of(2), pieces)
    assert after.sum() == pytest.approx(1)
    assert after == pytest.approx(posterior(prior_of(2), pieces[::-1]), abs=1e-9)


def test_a_common_factor_changes_nothing() -> None:
    one = np.array([-1.0, -3.0, -2.0])
    assert posterior(prior_of(2), [one]) == pytest.approx(posterior(prior_of(2), [one - 500]))


@pytest.mark.parametrize(
    ("ratio", "band"),
    [
        (1.0, Band.LITTLE),
        (3.0, Band.LITTLE),
        (3.1, Band.POSITIVE),
        (1 / 19, Band.POSITIVE),
        (21, Band.STRONG),
        (1 / 200, Band.DECISIVE),
        (0.0, Band.DECISIVE),
    ],
)
def test_bands(ratio, band) -> None:
    assert band_of(ratio) is band


def test_evidence_is_weighed_between_the_likeliest_and_its_rival() -> None:
    weight = weigh(np.log([0.05, 0.95, 0.5]), np.array([0.1, 0.85, 0.05]))
    assert (weight.favours, weight.over, weight.band) == (1, 0, Band.POSITIVE)
    assert weight.ratio == pytest.approx(19)


def test_a_rival_is_a_listed_build_where_there_is_one() -> None:
    weight = weigh(np.log([0.01, 1.0, 0.5]), np.array([0.01, 0.9, 0.09]))
    assert (weight.favours, weight.over) == (1, 0)
    alone = weigh(np.log([1.0, 0.02]), np.array([0.99, 0.01]))
    assert (alone.favours, alone.over) == (0, 1)
    none = weigh(np.log([1e-6, 1e-9, 1.0]), np.array([0.001, 0.0, 0.999]))
    assert (none.favours, none.over, none.band) == (2, 0, Band.DECISIVE)


def test_what_says_little_between_the_two_is_told_where_it_says_more() -> None:
    weight = weigh(np.log([1.0, 0.9, 0.01, 0.5]), np.array([0.5, 0.4, 0.05, 0.05]))
    assert (weight.favours, weight.over, weight.band) == (0, 2, Band.STRONG)
    flat = weigh(np.zeros(4), np.array([0.5, 0.4, 0.05, 0.05]))
    assert flat.band is Band.LITTLE


def test_nothing_is_named_by_little_thin_or_no_evidence() -> None:
    sure, fair = np.array([0.97, 0.02, 0.01]), np.array([0.5, 0.45, 0.05])
    assert judge(sure, sure, says_anything=True).is_sure
    assert judge(sure, sure, says_anything=False).place is None
    assert judge(sure, fair, says_anything=True).place is None
    assert judge(fair, fair, says_anything=True).place is None
    probable = judge(np.array([0.1, 0.85, 0.05]), sure[[1, 0, 2]], says_anything=True)
    assert (probable.place, probable.is_sure) == (1, False)
