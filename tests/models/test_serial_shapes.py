"""The shapes of a pattern agree with what its expression reads."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from registry.models.serial_patterns import Reader, reader
from registry.models.serial_shapes import beginnings, block, mended, shapes, spellings

PATTERNS = [
    r"(?P<plant>[A-Z]{2})(?P<number>\d{6})",
    r"(?P<year>\d{2})W(?P<week>[0-5]\d)-(?P<number>\d{3})",
    r"(?P<kind>A|BC)-?(?P<number>\d{2,4})",
    r"(?P<number>[^O]{3})",
    r"^(?P<number>\w{3})(?P<tail>.)?$",
    r"(?P<number>[\da-fA-F]{4})(?:X|YZ)",
]


@pytest.mark.parametrize("pattern", PATTERNS)
@given(data=st.data())
def test_whatever_a_shape_allows_the_pattern_reads(pattern, data):
    shape = data.draw(st.sampled_from(shapes(pattern)))
    text = "".join(data.draw(st.sampled_from(sign.allowed)) for sign in shape)
    assert re.fullmatch(pattern, text, re.ASCII)


@pytest.mark.parametrize("pattern", PATTERNS)
@given(data=st.data())
def test_whatever_the_pattern_reads_some_shape_allows(pattern, data):
    text = data.draw(
        st.from_regex(re.compile(rf"(?:{pattern})", re.ASCII), fullmatch=True, alphabet="ABCFOWXYZ01289-")
    )
    assert any(
        len(shape) == len(text) and all(c in sign.allowed for c, sign in zip(text, shape, strict=True))
        for shape in shapes(pattern)
    )


def test_a_pattern_of_very_many_shapes_has_none():
    assert shapes(r"(?P<a>\d+)-(?P<b>\d+)-(?P<c>\d+)") == ()
    assert len(shapes(r"(?P<number>\d+)")) == 40


def test_parts_are_known_sign_by_sign():
    (shape,) = shapes(PATTERNS[1])
    assert "".join(sign.part[:1] or "." for sign in shape) == "yy.ww.nnn"
    assert [sign.is_between for sign in shape] == [False] * 5 + [True] + [False] * 3


def test_signs_mistaken_for_one_another_are_told():
    (shape,) = shapes(PATTERNS[0])
    (spelling,) = spellings("LKO00l23".upper(), shape)
    assert spelling.text == "LK000123"
    assert spelling.changes == ("letter O read as digit 0", "letter L read as digit 1")
    assert [one.text for one in spellings("1K000123", shape)] == ["IK000123", "LK000123"]
    assert spellings("LK00012", shape) == []
    assert mended("LKS00123", PATTERNS[0]) == []


def of(pattern: str, order: str) -> Reader:
    made = reader(pattern, tuple(order.split()))
    assert isinstance(made, Reader)
    return made


def test_a_beginning_stands_for_a_block_only_where_that_is_unbroken():
    (shape,) = shapes(PATTERNS[0])
    made = of(PATTERNS[0], "number")
    assert [one.text for one in beginnings("LK0", shape)] == ["LK0"]
    assert block("LK0001", shape, made) == ("LK000100", "LK000199")
    assert block("L", shape, made) is None  # the plant is open
    tail = r"(?P<number>\d{4})(?P<year>\d{2})"
    assert block("1234", shapes(tail)[0], of(tail, "year number")) is None  # years go before numbers
    assert block("1234", shapes(tail)[0], of(tail, "number year")) == ("123400", "123499")
