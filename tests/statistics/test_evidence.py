"""Likelihoods of marks, firmware, dates and serials."""

from datetime import date

import numpy as np
import pytest

from registry.statistics.evidence import (
    LEAST_BY_DATE,
    MISREAD,
    OTHER_FIRMWARE,
    date_likelihoods,
    mark_likelihoods,
    serial_likelihoods,
    tag_likelihoods,
    trusted,
)
from registry.statistics.posterior import posterior, prior_of


def test_a_mark_is_misread_once_in_twenty_times() -> None:
    found = mark_likelihoods("domed", ["flat", "domed"], ["flat", "domed"])
    assert found.tolist() == pytest.approx([MISREAD, 1 - MISREAD, 0.5])
    among_three = mark_likelihoods("red", ["red", "blue", "green"], ["red", "blue", "green"])
    assert among_three[1] == among_three[2] == pytest.approx(MISREAD / 2)


def test_answers_of_a_mark_make_one_in_all() -> None:
    values = ["flat", "domed", "cup"]
    for known in (["flat", "domed", None], ["flat", "flat", "cup"]):
        total = sum(mark_likelihoods(value, known, values) for value in values)
        assert total == pytest.approx(np.ones(4))


def test_a_build_whose_mark_is_not_known_is_neither_favoured_nor_excluded() -> None:
    found = mark_likelihoods("flat", ["flat", "domed", None], ["flat", "domed"])
    assert found[1] < found[2] == found[3] < found[0]


def test_a_mark_alike_on_all_builds_tells_nothing_between_them() -> None:
    found = mark_likelihoods("amber", ["amber", "amber"], ["amber"])
    assert found[0] == found[1]


def test_a_value_nobody_knows_is_no_mark() -> None:
    with pytest.raises(ValueError, match="none of the values"):
        mark_likelihoods("purple", ["flat"], ["flat"])
    with pytest.raises(ValueError, match="of no build"):
        tag_likelihoods("9.9", [["1.0"]])


def test_firmware_of_several_builds_tells_little_and_updates_are_likelier_than_the_other_way() -> None:
    known = [["1.0", "1.1"], ["1.1", "1.2"]]
    shared, new, old = (tag_likelihoods(tag, known) for tag in ("1.1", "1.2", "1.0"))
    assert shared[0] == shared[1]
    assert new[1] == pytest.approx((1 - OTHER_FIRMWARE) / 2)
    assert new[0] > old[1] > 0
    for place in range(2):
        assert sum(tag_likelihoods(tag, known)[place] for tag in ("1.0", "1.1", "1.2")) < 1


def test_a_build_without_firmware_is_as_likely_as_none_of_them() -> None:
    found = tag_likelihoods("1.0", [["1.0"], []])
    assert found[1] == found[2] < found[0]


def test_a_pump_bought_long_before_a_build_was_seen_is_hardly_of_it() -> None:
    seen = [date(2022, 1, 1), date(2025, 1, 1)]
    early = date_likelihoods(date(2022, 6, 1), seen)
    late = date_likelihoods(date(2025, 6, 1), seen)
    assert early[0] == 1
    assert early[1] == pytest.approx(np.exp(-2.587), abs=0.01)
    assert late[1] == 1
    assert 0.8 < late[0] < 1
    assert date_likelihoods(date(2001, 1, 1), seen)[1] == LEAST_BY_DATE


def test_dates_of_builds_nobody_saw_count_for_nothing() -> None:
    found = date_likelihoods(date(2023, 1, 1), [date(2022, 1, 1), None])
    assert found.tolist() == [1.0, 1.0, 1.0]
    assert date_likelihoods(date(2023, 1, 1), [None, None]).tolist() == [1.0] * 3


def test_a_serial_alone_leaves_its_build_with_what_it_is_trusted() -> None:
    prior = prior_of(3)
    after = posterior(prior, [np.log(serial_likelihoods(1, 0.95, prior))])
    assert after[1] == pytest.approx(0.95)
    assert after[0] / after[3] == pytest.approx(prior[0] / prior[3])


def test_serials_are_trusted_by_basis_and_less_where_voices_contradict() -> None:
    assert trusted("declared", 1, 0) > trusted("observed", 9, 0) > trusted("inferred", 9, 0)
    assert trusted("declared", 1, 1) == pytest.approx(0.5)
    assert trusted("declared", 97, 1) == pytest.approx(0.98)
    assert 0.5 < trusted("a basis to come", 1, 0) < 0.95
