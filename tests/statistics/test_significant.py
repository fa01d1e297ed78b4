"""Many numbers to six digits at once are those that a text of each would give."""

import numpy as np
import pytest

from registry.statistics.significant import significant


def by_text(values):
    """One after the other."""
    return np.array([float(f"{value:.6g}") for value in values.ravel()]).reshape(values.shape)


@pytest.mark.parametrize("seed", range(4))
def test_numbers_of_all_sizes_are_those_of_their_texts(seed) -> None:
    chance = np.random.default_rng(seed)
    values = chance.normal(size=20_000) * 10.0 ** chance.uniform(-30, 30, 20_000)
    assert significant(values).tobytes() == by_text(values).tobytes()


def test_halves_go_the_way_their_digits_say() -> None:
    whole = np.arange(100_000, 140_000)
    values = np.concatenate([(whole + 0.5) / 10.0**power for power in range(12)])
    values = np.concatenate([values, np.nextafter(values, 0), np.nextafter(values, 1e9)])
    assert significant(values).tobytes() == by_text(values).tobytes()


def test_ends_of_decades_and_what_is_no_usual_number() -> None:
    decades = 10.0 ** np.arange(-25, 26)
    near = [np.nextafter(decades, 0), decades, np.nextafter(decades, np.inf), decades * (1 - 4e-7)]
    values = np.stack([*near, *(-one for one in near)])
    assert significant(values).tobytes() == by_text(values).tobytes()
    rare = np.array([0.0, -0.0, np.nan, np.inf, -np.inf, 5e-324, 1.7e308])
    np.testing.assert_array_equal(significant(rare)[:5], rare[:5])
    assert significant(rare)[5:].tobytes() == by_text(rare[5:]).tobytes()
    assert np.signbit(significant(rare)[1])
