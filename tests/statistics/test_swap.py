"""Part and base add up, and each share holds the truth at its rate."""

import numpy as np
import pytest

from registry.statistics.differences import fit
from registry.statistics.swap import split
from tests.statistics.test_differences import readings

TRUTH = (100.0, 92.0, 95.0, 84.0)


def rows_of(rng: np.random.Generator, *, units: int = 5, unit: float = 2.0, noise: float = 0.01):
    """Units of two bases, each read with both parts, at three clinics."""
    rows = []
    for base in (0, 1):
        for k in range(units):
            own, lean = rng.normal(0, unit), (0.0, 3.0, -4.0)[k % 3]
            for part in (0, 1):
                cell = 2 * base + part
                rows.append((cell, base * units + k, k % 3, TRUTH[cell] + own + lean + rng.normal(0, noise)))
    return rows


def test_part_and_base_add_up_to_the_total() -> None:
    fitted = fit(readings(rows_of(np.random.default_rng(1), unit=0.01)))
    assert fitted is not None
    found = split(fitted)
    assert found.total.value == pytest.approx(found.part.value + found.base.value)
    assert found.total.value == pytest.approx(-16, abs=0.1)
    assert found.part.value == pytest.approx(-9.5, abs=0.1)
    assert found.base.value == pytest.approx(-6.5, abs=0.1)
    assert found.interaction.value == pytest.approx(-3, abs=0.1)
    assert (found.part_on_old.value, found.part_on_new.value) == pytest.approx((-8, -11), abs=0.1)
    assert found.total.share == pytest.approx(-0.16, abs=1e-3)
    assert found.total.share_low is not None
    assert found.total.share_low < -0.16 < (found.total.share_high or 0)


def test_the_part_is_known_better_than_the_base_where_units_are_their_own_control() -> None:
    fitted = fit(readings(rows_of(np.random.default_rng(2))))
    assert fitted is not None
    found = split(fitted)
    assert found.part.high - found.part.low < 0.1 * (found.base.high - found.base.low)
    assert found.interaction.low <= -3 <= found.interaction.high


def test_without_a_value_above_nought_there_are_no_shares() -> None:
    rows = [
        (cell, unit, group, value - 100) for cell, unit, group, value in rows_of(np.random.default_rng(3))
    ]
    fitted = fit(readings([(c, u, g, y - 5) for c, u, g, y in rows]))
    assert fitted is not None
    assert split(fitted).part.share is None


def test_each_share_holds_the_truth_at_its_rate() -> None:
    rng = np.random.default_rng(4)
    truth = {"total": -16.0, "part": -9.5, "base": -6.5, "interaction": -3.0}
    held: dict[str, list[bool]] = {name: [] for name in truth}
    for _ in range(300):
        fitted = fit(readings(rows_of(rng, noise=0.6), repeat=1.0, random=0.5))
        assert fitted is not None
        found = split(fitted)
        for name, value in truth.items():
            held[name].append(getattr(found, name).low <= value <= getattr(found, name).high)
    for name, holds in held.items():
        assert 0.91 <= np.mean(holds) <= 0.99, name
