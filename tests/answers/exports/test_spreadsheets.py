"""No text starts a formula, every text can be got back, and plain texts stay as they are."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from registry.answers.exports.spreadsheets import RULE, harmless

SIGNS = "=+-@＝＋－＠﹦﹢﹣﹫"
# What a spreadsheet may take for the start of a cell: the text's own, and what follows ; tab or a line end.
STARTS = re.compile(r"[;\t\r\n]")
PLACES = re.compile(
    r"(?:(?<=[;\t\r\n])|^)'(?=['\s\x00-\x1f\x7f-\x9f\u200b-\u200f\u2060\ufeff]*[=+\-@＝＋－＠﹦﹢﹣﹫])"
    r"|^'(?='*[\t\r\n])"
)
texts = st.text(alphabet=st.sampled_from([*SIGNS, *"'; \t\r\n\u200b\ufeffaZ1,\"|"]), max_size=12)


@pytest.mark.parametrize(
    "text",
    [
        "=cmd|'/C calc'!A0",
        "+1+1",
        "-2+3",
        "@SUM(A1)",
        "\t=1",
        "\r=1",
        "\n=1",
        "＝1+1",
        "＋1",
        "－1",
        "＠x",
        "\tplain",
        "  =1",
        "\ufeff=1",
    ],
)
def test_what_could_start_a_formula_gets_an_apostrophe(text):
    assert harmless(text)[0] == "'"
    assert harmless(text).replace("'", "") == text.replace("'", "")


@pytest.mark.parametrize(
    "text",
    ["", "LK000123", "two-chamber", "24 mm / 0 mL", "a=b", "O'Neil", "'quoted'", "soft, -5 mm", "1e-3", "Ω"],
)
def test_plain_texts_stay_as_they_are(text):
    assert harmless(text) == text


@given(texts)
def test_no_part_of_a_text_begins_with_a_sign(text):
    for part in STARTS.split(harmless(text)):
        assert not part.lstrip(" \u200b\ufeff").startswith(tuple(SIGNS))


@given(texts)
def test_taking_one_apostrophe_away_gives_the_text_back(text):
    assert PLACES.sub("", harmless(text)) == text


@given(texts, texts)
def test_unlike_texts_stay_unlike(one, other):
    assert (harmless(one) == harmless(other)) == (one == other)


def test_the_rule_is_told():
    assert "apostrophe" in RULE
