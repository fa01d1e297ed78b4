"""Rounds of a reference unit: who reads off is scored so, whatever the others' number."""

import numpy as np
import pytest

from registry.statistics.rounds import score_round


def test_a_clinic_that_reads_high_is_found_by_all_scores() -> None:
    found = score_round([240.0, 241.0, 239.5, 240.5, 256.0], [1.0] * 5, sigma=4.8)
    assert found.assigned == pytest.approx(241, abs=1.5)
    assert [one.reads for one in found.scores[:4]] == ["acceptable"] * 4
    assert found.scores[4].z > 3
    assert found.scores[4].reads in ("warning", "action")
    assert found.scores[4].en_reads == "action"


def test_z_counts_where_the_assigned_value_is_sure_and_z_prime_otherwise() -> None:
    values = 240 + np.array([-3.0, -1.0, 0.0, 1.0, 3.0])
    sure = score_round(values, [1.0] * 5, sigma=10.0)
    unsure = score_round(values, [1.0] * 5, sigma=2.0)
    assert (sure.by, unsure.by) == ("z", "z_prime")
    assert abs(unsure.scores[0].z_prime) < abs(unsure.scores[0].z)
    assert unsure.scores[0].z_prime == pytest.approx(
        unsure.scores[0].z * unsure.sigma / np.hypot(unsure.sigma, unsure.u_assigned)
    )


def test_a_clinic_does_not_vouch_for_itself() -> None:
    """Alone with a tiny uncertainty it would be the consensus; against the others it is off."""
    found = score_round([240.0, 240.2, 239.8, 250.0], [1.0, 1.0, 1.0, 0.01], sigma=4.8)
    assert found.scores[3].en > 3


def test_sound_clinics_are_rarely_called_off() -> None:
    rng = np.random.default_rng(2)
    called = scored = 0
    for _ in range(300):
        found = score_round(rng.normal(240, 2.0, 6), np.full(6, 2.0), sigma=4.8)
        called += sum(one.en_reads == "action" for one in found.scores)
        scored += 6
    assert called / scored <= 0.07


def test_readings_that_agree_to_the_last_digit_are_all_acceptable() -> None:
    found = score_round([240.0, 240.0, 240.0], [0.0, 0.0, 0.0], sigma=4.8)
    assert (found.assigned, found.u_assigned) == (240.0, 0.0)
    assert {one.reads for one in found.scores} == {"acceptable"}
    assert {one.en for one in found.scores} == {0.0}


def test_two_clinics_are_no_round() -> None:
    with pytest.raises(ValueError, match="three clinics"):
        score_round([1.0, 2.0], [0.1, 0.1], sigma=1.0)
