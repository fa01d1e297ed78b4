"""Neighbouring serials are spelled only when the scheme reads them back at their place."""

from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from registry.answers.serials.naming import beside
from registry.models import SerialScheme
from registry.models.serials import place


def scheme(pattern: str, *order: str) -> SerialScheme:
    return SerialScheme(pattern=pattern, order=list(order))


FIXED = scheme(r"(?P<plant>[A-Z]{2})(?P<number>\d{6})", "number")
FREE = scheme(r"D(?P<n>\d+)", "n")
WEEKS = scheme(r"(?P<week>\d{2})-(?P<number>\d{3})(?P<check>[A-Z]?)", "week", "number")
LETTERS = scheme(r"(?P<number>[A-Z][0-9A-Z]{3})", "number")
MIXED = scheme(r"(?P<number>[0-9A-Z]{3})", "number")
OPTIONAL = scheme(r"Q(?P<number>\d+)?", "number")


@pytest.mark.parametrize(
    ("used", "serial", "step", "expected"),
    [
        (FIXED, "LK000099", 1, "LK000100"),
        (FIXED, "LK000100", -1, "LK000099"),
        (FIXED, "LK999999", 1, None),
        (FIXED, "LK000000", -1, None),
        (FREE, "D99", 1, "D100"),
        (FREE, "D100", -1, "D99"),
        (FREE, "D007", -1, "D006"),
        (WEEKS, "10-998K", 1, "10-999K"),
        (WEEKS, "10-999", 1, None),
        (WEEKS, "11-000", -1, None),
        (LETTERS, "A0ZZ", 1, "A100"),
        (MIXED, "00Z", 1, "010"),
        (MIXED, "010", -1, "00Z"),
        (MIXED, "009", 1, "00A"),
        (MIXED, "100", -1, "0ZZ"),
        (MIXED, "ZZZ", 1, None),
        (OPTIONAL, "Q", 1, None),
    ],
)
def test_the_serial_beside(used, serial, step, expected) -> None:
    at = place(serial, [used])
    assert at is not None
    assert beside(at, step, [used]) == expected


@settings(deadline=None)
@given(number=st.integers(0, 999_999), step=st.sampled_from([1, -1]))
def test_the_neighbour_reads_back_at_its_place(number: int, step: int) -> None:
    at = place(f"LK{number:06}", [FIXED])
    assert at is not None
    found = beside(at, step, [FIXED])
    if found is None:
        assert number + step in (-1, 1_000_000)
    else:
        read = place(found, [FIXED])
        assert read is not None
        assert read.key == at.key + Decimal(step)


@settings(deadline=None)
@given(number=st.integers(1, 36**3 - 1))
def test_there_and_back_again_where_digits_and_letters_mix(number: int) -> None:
    spelled = "".join("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"[number // 36**n % 36] for n in (2, 1, 0))
    at = place(spelled, [MIXED])
    assert at is not None
    assert at.key == number
    before = place(beside(at, -1, [MIXED]) or "", [MIXED])
    assert before is not None
    assert beside(before, 1, [MIXED]) == spelled
