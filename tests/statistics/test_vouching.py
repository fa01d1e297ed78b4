"""Other units of a gauge show what it reads off by: those read then or later, and never the unit itself."""

import numpy as np
import pytest

from registry.statistics.vouching import gauges_shown


def test_the_median_of_others_then_or_later_as_worked_out_one_by_one() -> None:
    rng = np.random.default_rng(91)
    gauge, at = rng.integers(0, 4, 60), rng.integers(0, 12, 60).astype(float)
    apart = rng.normal(size=60)
    shown = gauges_shown(gauge, at, apart, 2)
    for k in range(60):
        later = [j for j in np.lexsort((at, gauge)) if gauge[j] == gauge[k] and at[j] >= at[k]]
        others = [apart[j] for j in later[:10] if j != k]
        assert shown[k] == pytest.approx(np.median(others) if len(others) >= 2 else np.nan, nan_ok=True)


def test_what_a_gauge_read_before_is_not_asked() -> None:
    apart = np.array([0.0, 0.0, 0.0, 0.3, 0.08, 0.08])
    shown = gauges_shown(np.zeros(6, int), np.arange(6.0), apart, 2)
    assert shown[3] == pytest.approx(0.08)
    assert np.isnan(shown[4:]).all()
