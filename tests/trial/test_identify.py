"""The trial of identifications, in short."""

import numpy as np
import pytest

from tests.trial.identify import BUILDS, KINDS, MIXED, Tally, identified, reliability, section


def test_builds_apart_in_rate_are_told_and_seldom_named_wrongly() -> None:
    found = identified(KINDS["rate down 10 %"], 25, seed=3)
    assert len(found.truth) == 150
    assert found.first() >= 0.95
    assert found.wrong() <= 0.03
    assert found.right() >= 0.85


def test_builds_that_are_alike_are_not_told_apart() -> None:
    found = identified(KINDS["equal builds"], 25, seed=4)
    assert found.unnamed() >= 0.85
    assert 0.3 <= found.first() <= 0.7


def test_a_pump_of_no_list_is_no_listed_build() -> None:
    found = identified(KINDS["of no list"], 15, seed=5)
    assert found.wrong() == 0.0
    assert found.right() >= 0.9


def test_stated_chances_come_true() -> None:
    table = list(reliability(identified(KINDS[MIXED], 60, seed=6), bins=2))
    assert len(table) == 2
    assert all(abs(said - so) <= 0.06 for said, so, _ in table)


def test_shares_are_counted_by_hypothesis() -> None:
    sure = [np.array([0.9, 0.1, 0.0])] * 4
    tally = Tally(chances=sure, truth=[0, 1, BUILDS, 0], named=[0, 0, 0, BUILDS], nearest=[0, 0, 0, 1])
    assert (tally.first(), tally.by_nearest()) == (0.5, 0.25)
    assert (tally.right(), tally.wrong(), tally.denied(), tally.unnamed()) == (0.25, 0.5, 0.25, 0.0)


@pytest.mark.parametrize("communities", [8])
def test_the_section_tells_every_kind_with_its_checks(communities) -> None:
    told = section(communities, seed=2).of(communities)
    assert [row[0] for row in told.rows] == list(KINDS)
    assert len(told.checks) == 8
    assert "stated, so (number)" in told.text()
