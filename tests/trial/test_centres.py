"""The trial of distributions, in short: intervals hold where the plain mean over runs does not."""

from dataclasses import replace

import pytest

from tests.trial.centres import KINDS, tally
from tests.trial.communities import METRICS, RATE, VACUUM, Shape
from tests.trial.report import Check, Section


@pytest.mark.parametrize("kind", ["sound", "5 % wild units"])
def test_intervals_hold_the_truth_where_the_plain_mean_does_not(kind: str) -> None:
    found = tally(KINDS[kind], 200, seed=5)
    for metric in METRICS:
        whole = found[metric, "3-12"]
        assert whole.communities == 200
        assert whole.share("centre") >= 0.90
        assert 0.90 <= whole.share("ahead") <= 0.98
        assert whole.share("plain") <= 0.75


@pytest.mark.parametrize(
    ("kind", "most"),
    [("the finest is off by 8 %", 1.0), ("the finest is off by 15 %", 0.9), ("one wild clinic", 0.9)],
)
def test_a_clinic_far_off_carries_the_centre_no_more_than_algorithm_a(kind: str, most: float) -> None:
    whole = tally(KINDS[kind], 200, seed=6)[VACUUM, "3-12"]
    assert whole.root("error") <= most * whole.root("algorithm_a")
    assert whole.share("centre") >= 0.90
    assert whole.share("ahead") >= 0.93


def test_an_honest_finest_gauge_helps() -> None:
    fine, sound = (tally(KINDS[kind], 200, seed=6)[VACUUM, "3-12"] for kind in ("one finest gauge", "sound"))
    assert fine.root("error") <= 0.95 * fine.root("algorithm_a")
    assert fine.root("error") < sound.root("error")
    assert fine.share("width") < sound.share("width")
    assert fine.share("centre") >= 0.90


def test_what_is_not_told_holds_nothing() -> None:
    """An interval that is not given holds nothing, so that silence is no success."""
    kind = replace(KINDS["sound"], shape=Shape(clinics=(1, 1), units=(1, 1), runs=(2, 6)))
    found = tally(kind, 50, seed=5)
    assert found[RATE, "3-12"].share("ahead") == 0.0


def test_the_report_shows_what_is_not_held() -> None:
    checks = (Check("centre", 0.95, 0.93, 0.97), Check("next unit", 0.90, 0.93, 0.97))
    text = Section("Title", ("a", "bb"), (("1", "2"),), checks, ("note",)).text()
    assert "centre: 95.0 % (93.0 % to 97.0 %) as promised" in text
    assert "next unit: 90.0 % (93.0 % to 97.0 %) NOT AS PROMISED" in text
    assert [check.is_held for check in checks] == [True, False]
