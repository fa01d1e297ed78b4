"""Marks typed in plain words."""

import pytest

from registry.answers.identifying.words import understand

MARKS = {"housing": ["amber", "white"], "membrane": ["flat", "domed"], "label": ["white", "grey"]}


@pytest.mark.parametrize(
    ("said", "key", "value"),
    [
        ("housing=amber", "housing", "amber"),
        ("Housing : AMBER", "housing", "amber"),
        ("yellow-ish housing", "housing", "amber"),
        ("the housing is yellowish", "housing", "amber"),
        ("housng = ambr", "housing", "amber"),
        ("Membran: dome", "membrane", "domed"),
        ("domed", "membrane", "domed"),
        ("a bulging membrane", "membrane", "domed"),
        ("lable gray", "label", "grey"),
        ("white label", "label", "white"),
    ],
)
def test_what_is_understood(said, key, value) -> None:
    found = understand(said, MARKS)
    assert (found.key, found.value) == (key, value)
    assert found.says == f"{key} is {value}"


@pytest.mark.parametrize(
    ("said", "key", "told"),
    [
        ("housing: purple", "housing", "'purple' is none of amber, white"),
        ("housing not white", "housing", "none of amber, white"),
        ("membrane=don't know", "membrane", "not known to you"),
        ("membrane = ?", "membrane", "not known to you"),
        ("white", None, "may be said of housing, label"),
        ("not amber", None, "marks known: housing, membrane, label"),
        ("wheels=four", None, "'wheels' is not understood"),
        ("", None, "not understood"),
        ("=", None, "not understood"),
    ],
)
def test_what_is_not_understood_says_what_could_be_said(said, key, told) -> None:
    found = understand(said, MARKS)
    assert (found.key, found.value) == (key, None)
    assert told in found.says


def test_a_word_that_fits_two_values_fits_none() -> None:
    assert understand("housing=yellow", {"housing": ["amber", "golden"]}).value is None
    assert understand("housing=yellow", {"housing": ["amber", "yellow"]}).value == "yellow"


def test_a_model_without_marks_says_so() -> None:
    assert "no marks are known" in understand("amber", {}).says
