"""Settings by how likely they meet needs: the order, the counts and the rows of the document."""

import json

import numpy as np
import pytest

from registry.answers.matching.ahead_table import Table
from registry.answers.matching.matches import match, measured
from registry.statistics.matching import Need, Predictions, beside, chances
from tests.answers.matching.places import METRICS, ahead_at

NEEDS = {"cycle_rate": Need(80, None), "peak_vacuum": Need(60, 140)}


def texts(found, most):
    return [json.loads(text) for text in found.texts(most)]


def matched(table, needs=NEEDS, most=200):
    return match(table, np.flatnonzero(measured(table, list(needs))), needs, most=most, telling=0.5)


def worked_out(table, needs):
    """Chances of all needs at all places that can be told."""
    of, metrics = table.together(needs), list(needs)
    one, other = np.triu_indices(len(metrics), 1)
    together = np.tile(np.eye(len(metrics)), (of.told.size, 1, 1))
    if one.size:
        bound = table.correlations(metrics)(of.told, one, other).T
        together[:, one, other] = together[:, other, one] = bound
    ahead = beside(
        [Predictions(*(table.figures(m, n)[of.told] for n in ("value", "error", "freedom"))) for m in metrics]
    )
    return dict(
        zip(of.told.tolist(), np.round(chances(ahead, list(needs.values()), together), 6), strict=True)
    )


@pytest.mark.parametrize("needs", [
    NEEDS, {"cycle_rate": Need(None, 90)}, {**NEEDS, "residual_vacuum": Need(None, 120)},
    {"residual_vacuum": Need(-1e4, None)}, {"cycle_rate": Need(1e4, None), "peak_vacuum": Need(0, None)},
])  # fmt: skip
@pytest.mark.parametrize("levels", [4, 30])
def test_the_best_are_those_of_working_all_places_out(needs, levels) -> None:
    table = Table([ahead_at(model, levels) for model in range(1, 12)])
    found = matched(table, needs, most=40)
    every = worked_out(table, needs)
    expected = sorted(every, key=lambda row: (-every[row], row))[:40]
    rows = [row["probability"] for row in texts(found, 40)]
    assert rows == [every[row] for row in expected]
    assert found.told[found.best.rows[:40]].tolist() == expected
    assert found.best.likely == sum(chance >= 0.5 for chance in every.values())


def test_a_row_names_its_place_its_counts_and_each_need() -> None:
    table = Table([ahead_at(1, 1)])
    (row,) = texts(matched(table), 5)
    assert {name: row[name] for name in ("model", "revision", "level", "units", "clinics", "state")} == {
        "model": "Model 01", "revision": "A", "level": "0", "units": 9, "clinics": 3, "state": "ok",
    }  # fmt: skip
    assert list(row["metrics"]) == ["cycle_rate", "peak_vacuum"]
    for metric in row["metrics"].values():
        assert metric["predict_low"] < metric["centre"] < metric["predict_high"]
        assert 0 <= row["probability"] <= metric["probability"] <= 1


def test_thin_places_come_last_without_a_chance() -> None:
    table = Table([ahead_at(1, 2, units=2), ahead_at(2, 2)])
    rows = texts(matched(table), 5)
    assert [row["model"] for row in rows] == ["Model 02"] * 2 + ["Model 01"] * 2
    assert [row["state"] for row in rows] == ["ok"] * 2 + ["thin"] * 2
    assert rows[2]["probability"] is None
    assert rows[2]["missing"] == "1 more unit"
    assert rows[2]["metrics"]["cycle_rate"]["predict_low"] is None


def test_no_more_rows_are_written_than_asked_for() -> None:
    table = Table([ahead_at(1, 3, units=2), ahead_at(2, 3)])
    found = matched(table)
    assert [len(texts(found, most)) for most in (0, 2, 4, 9)] == [0, 2, 4, 6]
    assert found.size == 6


def test_the_first_is_the_likeliest() -> None:
    table = Table([ahead_at(model, 6) for model in range(1, 5)])
    found = matched(table)
    (first, *_) = texts(found, 1)
    assert found.first == {**{name: first[name] for name in found.first}}
    assert found.first["probability"] == max(worked_out(table, NEEDS).values())


def test_places_that_lack_a_metric_are_not_among_them() -> None:
    table = Table([ahead_at(1, 2, METRICS[:1]), ahead_at(2, 2)])
    assert {row["model"] for row in texts(matched(table), 9)} == {"Model 02"}
