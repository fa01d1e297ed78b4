"""What builds make of readings of one pump: what is shared, unmeasured builds, what a setting would tell."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from registry.statistics.crossed import CERTAIN, Readings
from registry.statistics.foreseen import Foreseen, foresee, middle_of, usual_variance
from registry.statistics.information import spread_points
from registry.statistics.posterior import posterior, prior_of
from registry.statistics.predictive import Predictive, Reading, predict, predict_unknown
from registry.statistics.recorded import Known, expected_information, log_likelihoods, steps
from registry.statistics.togetherness import Seen, Together, of_gauges

RATE, PEAK = "cycle_rate", "peak_vacuum"
SLOW = Foreseen(60.0, 0.1, 1.4, 0.0, 0.2, 0.0, 9.0, 12.0, CERTAIN)
FAST = replace(SLOW, value=66.0)
NOTHING = Together({})


def reading(value, level="3", metric=RATE, gauge=0, random=0.1, systematic=0.01):
    return Reading((level, metric), gauge, value, random, systematic)


def known(*by_build, levels=("3",), together=NOTHING):
    return Known(len(by_build), {(level, RATE): list(by_build) for level in levels}, together)


def test_a_reading_near_one_build_favours_it() -> None:
    logs = log_likelihoods(known(FAST, SLOW), [reading(60.2)])
    assert logs[1] > logs[0]
    assert logs[1] > logs[2]
    assert log_likelihoods(known(FAST, SLOW), [reading(63.0)])[:2] == pytest.approx(
        [logs_ := log_likelihoods(known(SLOW, FAST), [reading(63.0)])[0], logs_]
    )


def test_a_reading_far_from_all_builds_favours_none_of_them() -> None:
    logs = log_likelihoods(known(FAST, SLOW), [reading(85.0)])
    assert np.argmax(logs) == 2


def test_what_nobody_measured_says_nothing() -> None:
    assert log_likelihoods(known(FAST, SLOW), [reading(60.0, level="9")]).tolist() == [0.0] * 3
    assert log_likelihoods(known(FAST, SLOW), []).tolist() == [0.0] * 3


def test_an_unmeasured_build_is_neither_favoured_nor_excluded() -> None:
    for value in (60.0, 66.0):
        fast, slow, unmeasured, _ = log_likelihoods(known(FAST, SLOW, None), [reading(value)])
        assert max(fast, slow) - np.log(6) < unmeasured < max(fast, slow)
    far = log_likelihoods(known(FAST, SLOW, None), [reading(80.0)])
    assert far[2] > max(far[:2])


def test_a_build_unmeasured_at_one_of_two_settings_goes_by_the_other() -> None:
    both = known(FAST, SLOW, levels=("2", "3"))
    both.foreseen["2", RATE][0] = None
    logs = log_likelihoods(both, [reading(66.0, "3"), reading(66.0, "2")])
    assert logs[0] > logs[1]


def test_two_runs_at_one_setting_tell_less_than_two_pumps_would() -> None:
    of = known(FAST, SLOW)
    once = np.ptp(log_likelihoods(of, [reading(60.0)])[:2])
    twice = np.ptp(log_likelihoods(of, [reading(60.0), reading(60.0)])[:2])
    assert once < twice < 1.3 * once
    alike = Together({})
    first, second = steps(
        known(FAST, SLOW, levels=("2", "3"), together=alike), [[reading(60.0, "2")], [reading(60.0)]]
    )
    assert np.ptp(second[:2]) < np.ptp(first[:2])


def test_steps_add_up_to_all_traces_at_once() -> None:
    traces = [[reading(61.0, "2")], [reading(60.5)], []]
    of = known(FAST, SLOW, levels=("2", "3"))
    whole = log_likelihoods(of, [one for trace in traces for one in trace])
    assert sum(steps(of, traces)) == pytest.approx(whole)
    assert steps(of, traces)[2].tolist() == pytest.approx([0.0] * 3)


def test_an_undeclared_gauge_tells_less() -> None:
    strong = replace(SLOW, value=200.0, unit=25.0, run=4.0)
    of = Known(2, {("3", PEAK): [strong, replace(strong, value=230.0)]}, NOTHING)
    sure, unsure = (
        np.ptp(log_likelihoods(of, [reading(200.0, metric=PEAK, systematic=u)])[:2]) for u in (1.0, 15.0)
    )
    assert unsure < sure / 2


def test_a_setting_where_builds_differ_tells_more_than_one_where_they_do_not() -> None:
    of = Known(2, {("3", RATE): [FAST, SLOW], ("5", RATE): [SLOW, SLOW]}, NOTHING)
    chances = np.array([0.475, 0.475, 0.05])
    apart, alike = (expected_information(of, chances, [], [reading(0.0, level)]) for level in ("3", "5"))
    assert 0.5 < apart < 1.3
    assert alike < 0.25
    recorded = [reading(60.0)]
    later = posterior(prior_of(2), [log_likelihoods(of, recorded)])
    assert expected_information(of, later, recorded, [reading(0.0, "5")]) < alike
    settled = expected_information(of, np.array([1.0, 0.0, 0.0]), [], [reading(0.0)])
    assert settled == pytest.approx(0, abs=1e-9)
    assert expected_information(known(None, None), chances, [], [reading(0.0)]) == 0.0


def test_the_density_is_that_of_a_multivariate_t() -> None:
    scale = np.array([[2.0, 0.7], [0.7, 1.0]])
    of = Predictive(np.array([1.0, -1.0]), scale, 5.0)
    points = np.array([[0.0, 0.0], [4.0, -3.0]])
    assert of.logs(points) == pytest.approx(stats.multivariate_t([1.0, -1.0], scale, df=5).logpdf(points))
    joint, first = of.logs(points), of.first(1).logs(points[:, :1])
    rest = [of.after(point[:1]).logs(point[None, 1:])[0] for point in points]
    assert joint == pytest.approx(first + np.array(rest))
    assert of.after(np.zeros(0)) is of


def test_draws_spread_as_the_density_says() -> None:
    of = Predictive(np.array([3.0]), np.array([[4.0]]), 6.0)
    drawn = of.drawn(spread_points(4096, 2))[:, 0]
    exact = stats.t(6, 3, 2).ppf([0.1, 0.5, 0.9])
    assert np.quantile(drawn, [0.1, 0.5, 0.9]) == pytest.approx(exact, abs=0.1)


def test_an_unknown_build_lies_about_the_others_and_wider() -> None:
    readings = [reading(60.0)]
    close, wide = predict([SLOW], readings, NOTHING), predict_unknown([SLOW], readings, NOTHING)
    assert wide.scale[0, 0] > close.scale[0, 0] + 49
    assert wide.freedom <= 4
    assert middle_of([SLOW, FAST]).value == 63.0


def test_units_that_lean_alike_are_seen_to() -> None:
    rng = np.random.default_rng(1)
    own = rng.normal(size=40)
    unit, group = np.arange(40), np.arange(40) % 4
    one, other = (Seen(unit, group, 60 + own + 5 * group + 0.05 * rng.normal(size=40)) for _ in range(2))
    strange = Seen(unit, group, rng.normal(size=40))
    of = Together({("2", RATE): [one], ("3", RATE): [other], ("3", PEAK): [strange], ("4", RATE): [one]})
    assert of.of_units(("2", RATE), ("3", RATE)) > 0.9
    assert abs(of.of_units(("2", RATE), ("3", PEAK))) < 0.4
    assert of.of_units(("2", RATE), ("2", RATE)) == 1.0
    assert of.of_units(("2", RATE), ("9", RATE)) == 0.7
    assert of.of_units(("2", RATE), ("9", PEAK)) == 0.0


def test_a_gauge_leans_alike_in_vacuum_and_not_in_rate() -> None:
    assert of_gauges(PEAK, PEAK) == 1.0
    assert of_gauges(PEAK, "residual_vacuum") == 0.5
    assert of_gauges(PEAK, RATE) == 0.0


def table(units, runs=3, builds=1, spread=1.0):
    rng = np.random.default_rng(2)
    size = units * builds
    cell = np.repeat(np.arange(builds), units)
    return Readings(
        cell=cell,
        unit=np.arange(size),
        group=np.arange(size) % 3 if units > 2 else np.zeros(size, np.intp),
        mean=60 + 6.0 * cell + spread * rng.normal(size=size),
        runs=np.full(size, float(runs)),
        systematic=np.full(size, 0.1),
        random=0.2,
        squares=0.04 * size * (runs - 1),
        freedom=size * (runs - 1),
    )


def test_builds_are_foreseen_with_one_spread_between_units() -> None:
    slow, fast = foresee(table(12, builds=2), RATE)
    assert (slow.value, fast.value) == pytest.approx((60, 66), abs=1)
    assert slow.unit == pytest.approx(fast.unit, rel=0.2)  # but for what is usual at that rate
    assert 0.5 < slow.unit < 3
    assert slow.freedom(0.1, 0.2) > 10


def test_few_units_make_a_wide_guess_and_never_a_sure_one() -> None:
    (one,) = foresee(table(1), RATE)
    assert one.unit == pytest.approx(usual_variance(RATE, one.value))
    assert one.freedom(0.0, 0.0) < 5
    (two,) = foresee(table(2, spread=0.0), RATE)  # two units that agree by chance
    assert two.variance(0.0, 0.0) > usual_variance(RATE, 60.0) / 3
    with pytest.raises(KeyError):
        usual_variance("unheard_of", 1.0)
