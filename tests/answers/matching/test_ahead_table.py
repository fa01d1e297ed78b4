"""Places of many models side by side: each keeps what its own model's table has."""

import numpy as np
import pytest

from registry.answers.matching.ahead import FIGURES, pairs_of
from registry.answers.matching.ahead_table import Table
from tests.answers.matching.places import METRICS, ahead_at


@pytest.fixture
def table() -> Table:
    """Three models, of which the second lacks a metric and the third names them in another order."""
    return Table([ahead_at(3, 4, METRICS[::-1]), ahead_at(1, 5), ahead_at(2, 3, METRICS[:2])])


def test_models_come_by_name_and_rows_lead_back_to_them(table) -> None:
    assert [table.named(row).model for row in range(table.size)] == (
        ["Model 01"] * 5 + ["Model 02"] * 3 + ["Model 03"] * 4
    )
    ahead, at = table.where(6)
    assert (ahead.places[at].model, at) == ("Model 02", 1)


@pytest.mark.parametrize("metric", METRICS)
@pytest.mark.parametrize("name", FIGURES)
def test_figures_are_those_of_each_model(table, metric, name) -> None:
    column = table.figures(metric, name)
    for row in range(table.size):
        ahead, at = table.where(row)
        expected = ahead.figures_of(metric)[at, FIGURES.index(name)]
        assert column[row] == expected or (np.isnan(column[row]) and np.isnan(expected))


def test_correlations_are_those_of_each_model_whatever_its_metrics(table) -> None:
    rows, pairs = np.array([11, 0, 6, 3]), np.array(pairs_of(3))
    found = table.correlations(METRICS)(rows, pairs[:, 0], pairs[:, 1])
    for pair, (one, other) in zip(found, pairs, strict=True):
        for value, row in zip(pair, rows.tolist(), strict=True):
            ahead, at = table.where(row)
            assert value == ahead.together_of(METRICS[one], METRICS[other])[at]
    assert found[pairs_of(3).index((0, 2)), 2] == 0.0  # Model 02 lacks the third


def test_a_metric_nobody_measured_goes_with_nothing_and_is_nowhere(table) -> None:
    one, other = np.array([0]), np.array([1])
    found = table.correlations(["cycle_rate", "hold_time"])(np.arange(table.size), one, other)
    assert np.all(found == 0.0)
    assert not table.together(["cycle_rate", "hold_time"]).measured.any()


def test_places_that_carry_all_metrics_and_those_that_can_be_told() -> None:
    table = Table([ahead_at(1, 4), ahead_at(2, 4, METRICS[:2]), ahead_at(3, 4, units=2)])
    of = table.together(METRICS)
    assert np.flatnonzero(of.measured).tolist() == [0, 1, 2, 3, 8, 9, 10, 11]
    assert of.told.tolist() == [0, 1, 2, 3]
    assert of.units[[0, 4, 8]].tolist() == [9, 0, 2]
    assert [column.ahead.value.size for column in of.ahead] == [4, 4, 4]


def test_what_is_ahead_at_some_of_the_places_is_that_at_all_of_them(table) -> None:
    of = table.together(METRICS[:2])
    some = of.told[[7, 2, 5]]
    some.sort()
    for whole, part in zip(of.ahead, of.ahead_at(some), strict=True):
        at = np.searchsorted(of.told, some)
        assert part.ahead.value.tolist() == whole.ahead.value[at].tolist()
        assert part.furthest_up.tolist() == whole.furthest_up[at].tolist()


def test_sets_of_metrics_are_remembered_and_the_oldest_goes(table, monkeypatch) -> None:
    monkeypatch.setattr("registry.answers.matching.ahead_table._MOST_SETS", 2)
    first = table.together(METRICS[:1])
    assert table.together(METRICS[:1]) is first
    table.together(METRICS[1:2]), table.together(METRICS[:2])
    again = table.together(METRICS[:1])
    assert again is not first
    assert again.told.tolist() == first.told.tolist()


@pytest.mark.parametrize(
    ("where", "rig", "levels"),
    [
        ({}, None, "01234"),
        ({"programme__iexact": "p1"}, None, "13"),
        ({"level": "2"}, None, "2"),
        ({"mode": "stimulation"}, None, ""),
        ({}, " 27  mm ", "13"),
        ({"programme__iexact": "P0"}, "bell", ""),
    ],
)
def test_filters_mark_places(where, rig, levels) -> None:
    table = Table([ahead_at(1, 5)])
    assert [table.named(row).place.level for row in np.flatnonzero(table.marked(where, rig))] == list(levels)


def test_a_table_of_nothing_is_empty() -> None:
    table = Table([])
    assert table.size == 0
    assert table.together(METRICS).told.size == 0
    assert table.marked({"mode": "expression"}, "flat").size == 0


def test_texts_of_what_is_ahead_are_remembered_row_by_row(table) -> None:
    first = table.ahead("cycle_rate", np.array([2, 0]))
    again = table.ahead("cycle_rate", np.array([0, 1, 2]))
    assert [again[2], again[0]] == first
    value = table.figures("cycle_rate", "value")[0]
    assert first[1].startswith(f'"centre":{value:.6g},"predict_low":')
