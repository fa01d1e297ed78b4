"""Probabilities of conformance, guard bands, verdicts and global risks: how they hang together."""

import numpy as np
import pytest
from scipy import stats

from registry.statistics.conformity import (
    Tolerance,
    acceptance,
    conformance_probability,
    guard_band,
    judge,
    relative_guarded_limit,
)
from registry.statistics.risks import global_risks, guarded

ABOVE, BELOW, BETWEEN = Tolerance(low=250.0), Tolerance(high=250.0), Tolerance(200.0, 240.0)


def test_on_a_limit_it_is_an_even_chance() -> None:
    assert conformance_probability(250.0, 3.0, ABOVE) == pytest.approx(0.5)
    assert conformance_probability(250.0, 3.0, BELOW) == pytest.approx(0.5)


@pytest.mark.parametrize("value", [180.0, 199.0, 221.0, 260.0])
def test_two_limits_leave_what_either_tail_takes(value: float) -> None:
    tails = stats.norm.cdf(200, value, 6) + stats.norm.sf(240, value, 6)
    assert conformance_probability(value, 6.0, BETWEEN) == pytest.approx(1 - tails, rel=1e-9)


def test_far_from_a_limit_small_chances_keep_their_digits() -> None:
    assert conformance_probability(190.0, 1.0, BETWEEN) == pytest.approx(stats.norm.sf(10.0), rel=1e-9)
    assert conformance_probability(250.0, 1.0, BETWEEN) == pytest.approx(stats.norm.sf(10.0), rel=1e-9)


def test_a_certain_value_conforms_or_not() -> None:
    assert [conformance_probability(v, 0.0, BETWEEN) for v in (199.9, 200.0, 240.0, 240.1)] == [0, 1, 1, 0]


@pytest.mark.parametrize(
    ("value", "verdict"),
    [(256.0, "upheld"), (252.0, "undecided"), (248.0, "undecided"), (244.0, "not upheld")],
)
def test_verdicts_and_their_risk(value: float, verdict: str) -> None:
    found = judge(value, 3.0, ABOVE)
    assert found.verdict == verdict
    wrong = {"upheld": 1 - found.probability, "not upheld": found.probability, "undecided": None}[verdict]
    assert found.risk == wrong
    assert found.risk is None or found.risk <= 0.05


def test_a_verdict_starts_where_the_guard_band_ends() -> None:
    edge = 250 + guard_band(3.0)
    assert judge(edge + 1e-6, 3.0, ABOVE).verdict == "upheld"
    assert judge(edge - 1e-6, 3.0, ABOVE).verdict == "undecided"
    accepted = acceptance(3.0, ABOVE)
    assert accepted is not None
    assert accepted.ends == pytest.approx((edge, np.inf))


@pytest.mark.parametrize("u", [1.0, 5.0, 9.0, 10.1])
def test_every_value_accepted_conforms_as_wanted(u: float) -> None:
    accepted = acceptance(u, BETWEEN)
    assert accepted is not None
    for edge in accepted.ends:
        assert conformance_probability(edge, u, BETWEEN) == pytest.approx(0.95, abs=1e-9)
    assert conformance_probability(220.0, u, BETWEEN) > 0.95


def test_few_degrees_of_freedom_give_chances_by_students_t() -> None:
    assert conformance_probability(256.0, 3.0, ABOVE, 3.0) == pytest.approx(stats.t.cdf(2.0, 3))
    both = stats.t.cdf(19 / 6, 2.5) - stats.t.cdf(-21 / 6, 2.5)
    assert conformance_probability(221.0, 6.0, BETWEEN, 2.5) == pytest.approx(both)
    assert guard_band(3.0, freedom=3.0) == pytest.approx(3 * stats.t.ppf(0.95, 3))
    for tolerance in (ABOVE, BETWEEN):
        accepted = acceptance(3.0, tolerance, freedom=3.0)
        assert accepted is not None
        assert judge(accepted.ends[0] + 1e-6, 3.0, tolerance, freedom=3.0).verdict == "upheld"
        assert judge(accepted.ends[0] - 1e-6, 3.0, tolerance, freedom=3.0).verdict == "undecided"


def test_a_risk_of_one_in_a_hundred_comes_true_once_in_a_hundred() -> None:
    """Means of three against a limit that lies at the truth."""
    drawn = np.random.default_rng(3).normal(250.0, 4.0, (3000, 3))
    errors = drawn.std(axis=1, ddof=1) / np.sqrt(3)
    found = [judge(m, u, ABOVE, freedom=2.0) for m, u in zip(drawn.mean(axis=1), errors, strict=True)]
    assert 15 <= sum(one.verdict == "upheld" and one.risk <= 0.01 for one in found) <= 45
    assert 120 <= sum(one.verdict == "upheld" for one in found) <= 180


def test_too_uncertain_to_accept_anything() -> None:
    assert acceptance(11.0, BETWEEN) is None
    assert judge(220.0, 11.0, BETWEEN).verdict == "undecided"
    assert relative_guarded_limit(100.0, 0.7) is None


def test_global_risks_by_drawing_units() -> None:
    rng = np.random.default_rng(8)
    units = rng.normal(220, 12, 400_000)
    seen = units + rng.normal(0, 5, units.size)
    good, let_in = (units >= 200) & (units <= 240), (seen >= 200) & (seen <= 240)
    found = global_risks(stats.norm(220, 12), 5.0, BETWEEN, BETWEEN)
    assert found.bad == pytest.approx(1 - good.mean(), abs=0.002)
    assert found.consumer == pytest.approx(np.mean(~good & let_in), abs=0.001)
    assert found.producer == pytest.approx(np.mean(good & ~let_in), abs=0.001)


def test_a_guard_band_brings_about_the_wanted_risk() -> None:
    prior = stats.norm(220, 12)
    for wanted in (0.001, 0.01, 0.05):
        accepted = guarded(prior, 5.0, BETWEEN, wanted)
        assert global_risks(prior, 5.0, BETWEEN, accepted).consumer == pytest.approx(wanted, abs=1e-8)


def test_a_guard_band_goes_outward_where_the_risk_is_below_the_wanted() -> None:
    prior, tolerance = stats.norm(220, 12), Tolerance(low=230.0)
    bare = global_risks(prior, 5.0, tolerance, tolerance).consumer
    inward, outward = (guarded(prior, 5.0, tolerance, risk).ends for risk in (bare / 2, 2 * bare))
    assert inward[0] > 230 > outward[0]
    assert inward[1] == outward[1] == np.inf


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (Tolerance, "needs a limit"),
        (lambda: Tolerance(3.0, 3.0), "below the upper"),
        (lambda: conformance_probability(1.0, -1.0, ABOVE), "below nought"),
        (lambda: conformance_probability(1.0, float("nan"), ABOVE), "below nought"),
        (lambda: judge(1.0, 1.0, ABOVE, wanted=0.5), "a half and 1"),
        (lambda: acceptance(0.0, ABOVE), "above nought"),
        (lambda: global_risks(stats.norm(), 0.0, ABOVE, ABOVE), "above nought"),
        (lambda: guarded(stats.norm(220, 12), 5.0, BETWEEN, 0.5), "no guard band"),
    ],
)
def test_what_cannot_be_judged_is_refused(call, words) -> None:
    with pytest.raises(ValueError, match=words):
        call()
