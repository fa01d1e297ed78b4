"""Answers as JSON text."""

import gzip
import json
from collections import namedtuple
from datetime import UTC, date, datetime

import numpy as np
import pytest

from registry.answers.keeping.deflated import deflated
from registry.answers.keeping.written import Pieces, Texts, compressed, plain, text_of, written

_Pair = namedtuple("_Pair", "one other")


@pytest.mark.parametrize(
    ("value", "text"),
    [
        ({"a": [1, 2.5, None, True]}, '{"a":[1,2.5,null,true]}'),
        ("Düse ≥ 2", '"Düse ≥ 2"'),
        (_Pair(1, "b"), '[1,"b"]'),
        ([(1, 2), ()], "[[1,2],[]]"),
        (np.float64(0.1), "0.1"),
        (np.int64(7), "7"),
        (np.array([True]), "[true]"),
        (np.array([[1.5, 2.0], [3.0, 4.0]]), "[[1.5,2.0],[3.0,4.0]]"),
        (np.array([[1.5, 2.0], [3.0, 4.0]])[:, 0], "[1.5,3.0]"),
        (datetime(2031, 5, 6, 7, 8, 9, tzinfo=UTC), '"2031-05-06T07:08:09+00:00"'),
        (date(2031, 5, 6), '"2031-05-06"'),
    ],
)
def test_whatever_an_answer_holds_is_written(value, text):
    assert written(value).decode() == text


@pytest.mark.parametrize("value", [1 / 3, 1e-7, 5e-324, 1.7976931348623157e308, -0.0, 123456789.12345679])
def test_numbers_read_as_they_were(value):
    assert json.loads(written(value)) == value


@pytest.mark.parametrize("value", [float("nan"), float("inf"), np.float64("nan"), np.array([0.0, np.nan])])
def test_what_is_no_number_fails_a_test(value):
    with pytest.raises(ValueError, match="JSON"):
        written({"deep": [value]})


def test_parts_written_before_are_put_in_as_they_are():
    document = {"says": "so", "rows": Texts([b'{"a":1}', b'{"a":2}']), "more": Pieces([deflated(b"3")])}
    expected = {"says": "so", "rows": [{"a": 1}, {"a": 2}], "more": [3]}
    assert json.loads(text_of(document)) == expected
    assert json.loads(gzip.decompress(compressed(document))) == expected
    assert plain(document) == expected
