"""Where a metric's values can lie, and limits of what was counted."""

import math

import pytest

from registry.statistics.domains import ANYWHERE, KNOWN, counted_behind, domain_of, share_limits
from registry.waveform.editions import CURRENT_EDITION, edition_of


def test_every_metric_of_the_edition_has_its_domain() -> None:
    assert set(edition_of(CURRENT_EDITION).metrics) == KNOWN


def test_what_can_be_negative_and_what_cannot() -> None:
    assert domain_of("peak_drift") == ANYWHERE
    assert domain_of("not a metric") == ANYWHERE
    for metric in ("loss_rate", "settling_time", "peak_spread", "pull_time", "cycle_rate"):
        assert domain_of(metric).low == 0.0
    assert (domain_of("duty_factor").high, domain_of("loss_rate").high) == (1.0, 100.0)


@pytest.mark.parametrize("counted", [3, 29, 60, 1000])
@pytest.mark.parametrize("events", [0, 1, 2])
def test_the_number_counted_is_found_again_from_the_uncertainty(counted: int, events: int) -> None:
    one, two = events + 0.5, counted - events + 0.5
    u = math.sqrt(one * two / ((counted + 1) ** 2 * (counted + 2)))
    assert counted_behind(events / counted, u) == pytest.approx(counted, rel=1e-6)


def test_the_ends_of_knowing() -> None:
    assert counted_behind(0.1, 0.0) == math.inf
    assert counted_behind(0.1, 0.5) == 0.0
    assert counted_behind(0.5, 1e-9) == math.inf
    assert share_limits(0.0, 0.0) == (0.0, 1.0)
    assert share_limits(7.0, 7.0)[1] == 1.0


def test_rounding_is_no_event() -> None:
    assert share_limits(1e-310, 1400.0) == pytest.approx(share_limits(0.0, 1400.0))
    assert share_limits(1400.0 - 1e-12, 1400.0) == pytest.approx(share_limits(1400.0, 1400.0))
