"""The trial of alerts: a gauge that goes off is named, and a community comes out alike for its seed."""

from tests.trial.alerts import KINDS, looked_at, tally


def test_a_gauge_that_goes_off_is_named_and_the_peer_blames_sound_ones() -> None:
    found = tally(KINDS["gauge goes 8 % off, twice the units"], 4, seed=1)
    assert found.named >= 3 / 4
    assert found.peer > max(found.wrong_gauge, 0.5)


def test_a_healthy_community_has_no_gauge_to_name() -> None:
    found = [looked_at(KINDS["healthy"], seed) for seed in (3, 4)]
    assert [one.named for one in found] == [0.0, 0.0]
    assert found[0] == looked_at(KINDS["healthy"], 3)
