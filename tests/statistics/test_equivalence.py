"""Same, different, cannot tell yet."""

import numpy as np
import pytest
from scipy import stats

from registry.statistics.contrasted import Contrasted, contrasted
from registry.statistics.differences import Fit, fit
from registry.statistics.equivalence import Margin, judge, judge_pair, overall
from tests.statistics.test_differences import readings

TOLD = "cannot tell yet"


def pair(shift: float, *, units: int = 8, unit: float = 1.0, base: float = 100.0) -> Fit:
    """Units of two cells with deviations that are the same on both sides, so the difference is exact."""
    apart = unit * np.linspace(-1.5, 1.5, units)
    rows = [
        (cell, cell * units + k, 0, base + shift * cell + apart[k]) for cell in (0, 1) for k in range(units)
    ]
    found = fit(readings(rows))
    assert found is not None
    return found


@pytest.mark.parametrize(
    ("shift", "verdict", "beyond"),
    [(0.5, "same", False), (3.0, "same", False), (-14.0, "different", True), (9.9, "different", False)],
)
def test_verdicts_against_an_absolute_margin(shift, verdict, beyond) -> None:
    found = judge_pair(pair(shift), Margin(10.0), family=1)
    assert (found.verdict, found.beyond) == (verdict, beyond)
    assert found.difference.value == pytest.approx(shift)
    assert found.low < shift < found.high
    assert found.share == pytest.approx(shift / 100)


def test_scatter_leaves_it_open() -> None:
    found = judge_pair(pair(4.0, units=3, unit=8.0), Margin(10.0), family=1)
    assert (found.verdict, found.beyond) == (TOLD, False)


def test_a_relative_margin_goes_with_the_old_value() -> None:
    near = judge_pair(pair(3.0), Margin(0.05, relative=True), family=1)
    far = judge_pair(pair(3.0, base=40.0), Margin(0.05, relative=True), family=1)
    assert (near.margin, near.verdict) == (pytest.approx(5.0), "same")
    assert (far.margin, far.verdict) == (pytest.approx(2.0), "different")


def test_a_larger_family_widens_and_takes_back_what_was_hardly_different() -> None:
    alone, among = (judge_pair(pair(2.0), None, family) for family in (1, 30))
    assert among.high - among.low > alone.high - alone.low
    assert among.p_apart == pytest.approx(30 * alone.p_apart)
    assert alone.verdict == "different"
    assert among.verdict == TOLD
    assert alone.p_same is None


def test_the_interval_and_the_verdict_agree() -> None:
    for shift in np.linspace(0, 4, 41):
        found = judge_pair(pair(float(shift)), None, family=7)
        assert (found.verdict == "different") == (found.low > 0 or found.high < 0)
        reach = stats.t.ppf(1 - 0.025 / 7, found.difference.freedom) * found.difference.error
        assert (abs(shift) > reach) == (found.verdict == "different")


def test_without_an_old_value_above_nought_there_is_no_per_cent() -> None:
    found = judge_pair(pair(2.0, base=0.0), Margin(10.0), family=1)
    assert (found.share, found.share_low, found.share_high) == (None, None, None)


def test_same_goes_before_different() -> None:
    wide, narrow = (judge_pair(pair(2.0), Margin(of), family=1) for of in (10.0, 1.0))
    assert wide.p_apart == narrow.p_apart < 0.05
    assert (wide.verdict, narrow.verdict) == ("same", "different")


@pytest.mark.parametrize(
    ("verdicts", "verdict"),
    [
        (["same", "same"], "same"),
        (["same", TOLD], TOLD),
        (["same", TOLD, "different"], "different"),
        ([], TOLD),
    ],
)
def test_the_verdict_over_all(verdicts, verdict) -> None:
    assert overall(verdicts) == verdict


def test_what_arithmetic_leaves_over_is_no_difference() -> None:
    rows = [(cell, 9 * cell + k, 0, 0.1 + 0.2 if cell else 0.3) for cell in (0, 1) for k in range(9)]
    found = fit(readings(rows, repeat=0.0, random=0.0))
    assert found is not None
    judged = judge_pair(found, None, family=1)
    assert (judged.verdict, judged.p_apart) == (TOLD, pytest.approx(1.0, abs=1e-4))
    apart = fit(readings([(c, u, g, y + 0.001 * c) for c, u, g, y in rows], repeat=0.0, random=0.0))
    assert apart is not None
    assert judge_pair(apart, None, family=1).verdict == "different"


def test_shares_of_next_to_nothing_are_not_told() -> None:
    rows = [
        (cell, 9 * cell + k, 0, 3.0 * cell + 0.5 * (k % 5 - 2) + 1e-12) for cell in (0, 1) for k in range(9)
    ]
    found = fit(readings(rows))
    assert found is not None
    judged = judge_pair(found, None, family=1)
    assert (judged.share, judged.share_low, judged.share_high) == (None, None, None)
    assert judged.verdict == "different"


@pytest.mark.parametrize("margin", [Margin(10.0), Margin(0.05, relative=True)])
@pytest.mark.parametrize("shift", [0.0, 3.0, 6.0, 7.5, 9.0, 14.0])
def test_what_is_the_same_has_its_own_interval_within_the_margin(margin: Margin, shift: float) -> None:
    found = judge_pair(pair(shift), margin, family=30)
    assert found.margin is not None
    assert found.same_low is not None
    assert found.same_high is not None
    inside = max(-found.same_low, found.same_high) < found.margin
    assert inside == (found.verdict == "same")
    assert found.low < found.same_low < found.difference.value < found.same_high < found.high


def test_an_interval_of_many_settings_may_reach_beyond_the_margin_of_what_is_the_same() -> None:
    found = judge_pair(pair(8.5), Margin(10.0), family=400)
    assert found.verdict == "same"
    assert found.margin is not None
    assert found.high > found.margin
    assert judge_pair(pair(6.0), None, family=400).same_low is None


def test_settings_with_and_without_margins_are_judged_as_each_by_itself() -> None:
    pairs = [
        pair(shift, base=base) for shift, base in ((0.5, 100.0), (3.0, 60.0), (-14.0, 100.0), (4.0, 70.0))
    ]
    margins = [Margin(10.0), None, Margin(0.05, relative=True), Margin(0.05, relative=True)]
    together = judge(Contrasted(np.concatenate([contrasted(one.alone).table for one in pairs])), margins, 4)
    for place, (one, margin) in enumerate(zip(pairs, margins, strict=True)):
        assert together.one(place) == judge_pair(one, margin, 4)
    assert judge(contrasted(pairs[0].alone), [None], 1).one(0).same_low is None
