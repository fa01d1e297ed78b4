"""Where serials stand: reading, ordering, series."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from registry.models import SerialScheme
from registry.models.serials import canonical, check_scheme, place

PLAIN = SerialScheme(pk=1, pattern=r"(?P<plant>[A-Z]{2})(?P<number>\d{6})", order=["number"])
DATED = SerialScheme(
    pk=2, pattern=r"(?P<year>\d\d)W(?P<week>\d\d)-(?P<number>\d+)", order=["year", "week", "number"]
)


@pytest.mark.parametrize("typed", ["LK000123", "lk000123", " LK 000 123 ", "LK-000-123", "lk.000.123"])
def test_one_serial_however_it_is_typed(typed):
    found = place(typed, [PLAIN])
    assert found is not None
    assert (found.serial, found.series, found.key) == ("LK000123", "LK", 123)


def test_a_scheme_that_holds_dashes_reads_serials_with_dashes():
    found = place("25w07-19", [PLAIN, DATED])
    assert found is not None
    assert found.scheme is DATED
    assert found.serial == "25W07-19"


def test_series_are_never_compared():
    left, right = place("LK000001", [PLAIN]), place("MX000002", [PLAIN])
    assert left is not None
    assert right is not None
    assert not left.comparable(right)


@given(st.tuples(*[st.integers(0, 99), st.integers(0, 99), st.integers(0, 10**9)] * 2))
def test_keys_order_as_the_parts_do(parts):
    one, two = parts[:3], parts[3:]
    keys = [place("{:02d}W{:02d}-{}".format(*p), [DATED]).key for p in (one, two)]
    assert (keys[0] < keys[1]) == (one < two)


def test_a_serial_no_scheme_reads_keeps_one_spelling():
    assert place("??", [PLAIN]) is None
    assert canonical("ab-12 3", None) == canonical("AB123", None) == "AB123"


def test_a_part_too_long_to_keep_its_order_is_not_read():
    assert place("25W07-" + "9" * 25, [DATED]) is None


@pytest.mark.parametrize(
    ("pattern", "order", "says"),
    [("(", ["a"], "regular expression"), (r"\d+", ["number"], "number"), (r"(?P<n>\d+)", [], "at least one")],
)
def test_schemes_that_cannot_be_used(pattern, order, says):
    assert says in str(check_scheme(pattern, order))
