"""Where serials stand: reading, ordering, series."""

import string
import time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from registry.models import SerialScheme, Unit
from registry.models.serial_patterns import LONGEST_PATTERN
from registry.models.serials import LONGEST, bare, canonical, check_scheme, check_serial, place, tidy

PLAIN = SerialScheme(pk=1, pattern=r"(?P<plant>[A-Z]{2})(?P<number>\d{6})", order=["number"])
DATED = SerialScheme(
    pk=2, pattern=r"(?P<year>\d\d)W(?P<week>\d\d)-(?P<number>\d+)", order=["year", "week", "number"]
)


MIXED = SerialScheme(pk=3, pattern=r"(?P<n>[0-9A-Z]{3})", order=["n"])

TYPED = ["LK000123", "lk000123", " LK 000 123 ", "LK-000-123", "lk.000.123", "LK/000/123"]
COPIED = [
    "LK\u2011000\u2011123",  # non-breaking hyphens
    "LK\u2212000\u2212123",  # minus signs
    "LK\u2013000\u2014123",  # en and em dash
    "LK\ufe63000\uff0d123",  # small and full-width hyphen
    "LK\u00a0000\u2009123",  # no-break and thin space
    "\ufeffLK\u00ad000123\u200b",  # byte order mark, soft hyphen, zero-width space
    "\uff2c\uff2b\uff10\uff10\uff10\uff11\uff12\uff13",  # full width
    "lk\u0660\u0660\u0660\u0661\u0662\u0663",  # Arabic-Indic digits
]


@pytest.mark.parametrize("typed", TYPED + COPIED)
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


SERIALS_OF_MIXED = st.text("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ", min_size=3, max_size=3)


@given(SERIALS_OF_MIXED, SERIALS_OF_MIXED)
def test_digits_and_letters_in_one_part_order_by_one_rule(one, two):
    """By ASCII, in which digits come before letters; so does base 36 at one length."""
    keys = [place(serial, [MIXED]).key for serial in (one, two)]
    assert (keys[0] < keys[1], keys[0] == keys[1]) == (one < two, one == two)


def test_a_serial_of_digits_alone_does_not_fall_among_shorter_counts():
    keys = {serial: int(place(serial, [MIXED]).key) for serial in ("009", "00A", "00Z", "010", "035", "100")}
    assert list(keys) == sorted(keys, key=keys.__getitem__)
    assert (keys["00Z"] + 1, keys["100"]) == (keys["010"], 36**2)


def test_zeros_in_front_are_part_of_the_label_and_share_the_place():
    found = [
        place(serial, [SerialScheme(pk=4, pattern=r"(?P<n>\d+)", order=["n"])]) for serial in ("7", "0007")
    ]
    assert [f.serial for f in found] == ["7", "0007"]
    assert {f.key for f in found} == {7}


def test_a_scheme_that_is_refused_reads_nothing():
    hung = SerialScheme(pk=5, pattern=r"(?P<n>(\d+)+)X", order=["n"])
    begun = time.process_time()
    assert place("1" * LONGEST, [hung]) is None
    assert place("1X", [hung, PLAIN]) is None
    assert time.process_time() - begun < 1


def test_the_longest_series_fits_its_column():
    """Parts lie side by side, so together they are no longer than the serial, with a slash between two."""
    empty = "".join(f"(?P<{name}>)" for name in string.ascii_lowercase[:25])
    pattern = empty + r"(?P<Z>[A-Z]{39})(?P<N>.)"
    assert check_scheme(pattern, ["N"]) is None
    assert LONGEST_PATTERN - len(pattern) < len("(?P<y>)")
    found = place("A" * LONGEST, [SerialScheme(pk=6, pattern=pattern, order=["N"])])
    assert found is not None
    assert len(found.series) == LONGEST - 1 + 25
    assert len(found.series) <= Unit._meta.get_field("series").max_length


ANY_TEXT = st.one_of(
    st.text(max_size=90),
    st.text("aß\u0149\ufb03\ufdfa\u0390\u1e9e\u2011-. 0", max_size=60),
)


@given(ANY_TEXT)
def test_no_spelling_is_longer_than_its_column_whatever_was_typed(text):
    assert len(tidy(text)) <= LONGEST
    assert len(bare(text)) <= LONGEST
    if check_serial(text) is None:
        assert 1 <= len(canonical(text, place(text, [PLAIN, DATED]))) <= LONGEST


@given(ANY_TEXT)
def test_a_spelling_spelled_again_stays_as_it_is(text):
    assert tidy(tidy(text)) == tidy(text)
    assert bare(bare(text)) == bare(text)
    assert bare(tidy(text)) in (bare(text), "")


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("ß" * 30, "has 60 letters and digits in capitals; a serial has at most 40"),
        ("\ufdfa" * 4, "at most 40"),
        ("1" * 41, "has 41 letters"),
        ("", "no letter or digit"),
        (" -./\u2011 ", "no letter or digit"),
        ("??", "no letter or digit"),
        ("LK\x000123", "no label bears"),
        ("LK\ud8000123", "no label bears"),
    ],
)
def test_what_cannot_be_a_serial_is_refused_with_a_reason(text, says):
    assert says in str(check_serial(text))


@pytest.mark.parametrize("text", ["LK000123", "1" * 40, " ".join("1" * 40), "ß" * 20, "Ä-7", "1\t2"])
def test_what_can_be_a_serial_is_not_refused(text):
    assert check_serial(text) is None


def test_a_serial_that_was_refused_has_no_spelling_to_store():
    with pytest.raises(ValueError, match="at most 40"):
        canonical("ß" * 30, None)


@pytest.mark.parametrize(
    ("pattern", "order", "says"),
    [("(", ["a"], "regular expression"), (r"\d+", ["number"], "number"), (r"(?P<n>\d+)", [], "at least one")],
)
def test_schemes_that_cannot_be_used(pattern, order, says):
    assert says in str(check_scheme(pattern, order))
