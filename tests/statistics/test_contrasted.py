"""What differences between builds are reduced to."""

import numpy as np

from registry.statistics.contrasted import Contrasted, contrasted
from registry.statistics.differences import fit
from registry.statistics.swap import split
from tests.statistics.test_differences import readings


def alike(cells: int) -> list[tuple[int, int, int, float]]:
    """Cells of four units each with the very same values, at two clinics."""
    values = (71.3, 70.1, 72.7, 70.9)
    return [(cell, 4 * cell + k, k % 2, value) for cell in range(cells) for k, value in enumerate(values)]


def test_no_difference_is_nought_whichever_way_round() -> None:
    fitted = fit(readings(alike(2)))
    assert fitted is not None
    of = contrasted(fitted.alone)
    for told in (of.difference, of.reversed().difference):
        assert told.value.tolist() == [0.0]
        assert not np.signbit(told.value).any()
        assert (told.error > 0).all()
    assert (of.old.value == of.new.value).all()


def test_shares_that_are_none_are_nought() -> None:
    fitted = fit(readings(alike(4)))
    assert fitted is not None
    found = split(fitted)
    for share in (found.total, found.part, found.base, found.interaction):
        assert (share.value, share.share) == (0.0, 0.0)
        assert share.low == -share.high < 0


def test_a_difference_far_below_any_digit_told_is_one() -> None:
    rows = [(cell, unit, group, value + 1e-9 * cell) for cell, unit, group, value in alike(2)]
    fitted = fit(readings(rows))
    assert fitted is not None
    assert 0.9e-9 < contrasted(fitted.alone).difference.value[0] < 1.1e-9


def several() -> Contrasted:
    """A few settings whose units are the same but not their values."""
    found = []
    for scale in (1.0, 1.3, 2.0):
        rows = [(cell, unit, group, scale * value + cell) for cell, unit, group, value in alike(2)]
        fitted = fit(readings(rows))
        assert fitted is not None
        found.append(contrasted(fitted.alone).table)
    return Contrasted(np.concatenate(found))


def figures(of: Contrasted) -> np.ndarray:
    """Values, errors and degrees of freedom of old, new and their difference."""
    return np.array([(one.value, one.error, one.freedom) for one in (of.old, of.new, of.difference)])


def test_sums_of_old_and_new_are_those_told_of_either() -> None:
    of = several()
    for share, one in ((-1.0, of.new), (0.0, of.difference)):
        found = of.beyond(share)
        np.testing.assert_allclose(found.value, one.value)
        np.testing.assert_allclose(found.error, one.error)
        np.testing.assert_allclose(found.freedom, one.freedom)


def test_some_settings_are_told_as_among_all() -> None:
    of, places = several(), np.array([2, 0])
    np.testing.assert_array_equal(figures(of.some(places)), figures(of)[:, :, places])
    assert figures(of.some(places[:0])).shape == (3, 3, 0)


def test_old_for_new_turns_the_difference_and_nothing_else() -> None:
    of = several()
    turned = figures(of)[[1, 0, 2]]
    turned[2, 0] *= -1
    np.testing.assert_array_equal(figures(of.reversed()), turned)
    assert (of.reversed().between == of.between[:, ::-1]).all()
    np.testing.assert_array_equal(of.reversed().reversed().table, of.table)
