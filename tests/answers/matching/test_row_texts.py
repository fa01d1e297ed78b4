"""Rows put together of texts are the JSON that would be written of them."""

import json

import numpy as np
import pytest

from registry.answers.matching.row_texts import NULL, ahead_texts, metrics_texts, numbers, row_text


def test_numbers_read_back_as_they_were_and_unknown_ones_as_null() -> None:
    values = np.array([0.1, 1e-7, 12345.678901, np.nan, -0.0])
    found = [json.loads(text) for text in numbers(values)]
    assert found == [0.1, 1e-7, 12345.678901, None, 0.0]
    assert [json.loads(text) for text in numbers(values[:3])] == values[:3].tolist()


@pytest.mark.parametrize("value", [0.0, 1.0, 1 / 3, -1234567.8, 9.9999996, 1e-9, 0.05])
def test_figures_have_six_digits(value) -> None:
    (text,) = ahead_texts(*np.array([[value], [value / 3], [np.nan]]))
    (metric,) = metrics_texts(["hold_time"], [[text]], np.array([[value / 7]]))
    assert json.loads("{" + metric + "}")["hold_time"] == {
        "centre": float(f"{value:.6g}"),
        "predict_low": float(f"{value / 3:.6g}"),
        "predict_high": None,
        "probability": float(f"{value / 7:.6g}"),
    }


def test_a_row_is_a_document() -> None:
    ahead = ahead_texts(np.array([5.0]), np.array([4.5]), np.array([np.nan]))
    (metrics,) = metrics_texts(["cycle_rate", "hold_time"], [ahead, ahead], np.array([[0.25, np.nan]]))
    row = row_text('{"model":"A \\"b\\""', (7, 3), "ok", "", "0.125", metrics)
    centre = {"centre": 5.0, "predict_low": 4.5, "predict_high": None}
    assert json.loads(row) == {
        "model": 'A "b"',
        "units": 7,
        "clinics": 3,
        "state": "ok",
        "missing": "",
        "probability": 0.125,
        "distance": None,
        "within": None,
        "metrics": {
            "cycle_rate": {**centre, "probability": 0.25},
            "hold_time": {**centre, "probability": None},
        },
    }


def test_a_thin_row_says_what_is_missing() -> None:
    row = row_text('{"model":"é"', (1, 1), "thin", "2 more units", NULL, "")
    assert json.loads(row)["missing"] == "2 more units"
    assert json.loads(row)["model"] == "é"
    assert json.loads(row)["probability"] is None
