"""What differences between builds are reduced to."""

import numpy as np

from registry.statistics.contrasted import contrasted
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
