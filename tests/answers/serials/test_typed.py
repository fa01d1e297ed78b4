"""What a person types: ways of writing lead to one place, and of two ways to read none is guessed."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from registry.answers.serials.typed import Ambiguous, OpenEnd, Reading, read_by, read_typed
from registry.models import SerialScheme

FIXED = SerialScheme(id=1, pattern=r"(?P<plant>[A-Z]{2})(?P<number>\d{6})", order=["number"])
DATED = SerialScheme(
    id=2, pattern=r"(?P<year>\d{2})W(?P<week>\d{2})-(?P<number>\d{3})", order=["year", "week", "number"]
)
FREE = SerialScheme(id=3, pattern=r"(?P<number>\d+)", order=["number"])
LAST_FIRST = SerialScheme(id=4, pattern=r"(?P<number>\d{4})(?P<year>\d{2})", order=["year", "number"])


def words(first: str, last: str | None = None, schemes: tuple[SerialScheme, ...] = (FIXED,)) -> str | None:
    reading = read_typed(first, last, schemes)
    return reading.words if reading else None


def changes(first: str, last: str | None = None, scheme: SerialScheme = FIXED) -> tuple[str, ...]:
    reading = read_typed(first, last, [scheme])
    assert isinstance(reading, Reading)
    return reading.changes


@pytest.mark.parametrize(
    "typed",
    ["LK000123", "lk000123", " lk 000 123 ", "LK-000-123", "lk 000\N{EN DASH}123", "LK.000/123", "LKOOO123",
     "lkooo123", "LK000l23", "LK000I23", "lk-OO0-i23"],
)  # fmt: skip
def test_one_serial_however_it_is_copied(typed):
    assert words(typed) == "LK000123"


@pytest.mark.parametrize(
    "typed",
    ["LK000001-LK004999", "LK000001 - LK004999", "lk000001 to lk004999", "LK000001..LK004999",
     "LK000001 ... LK004999", "LK000001\N{HORIZONTAL ELLIPSIS}LK004999", "LK000001 LK004999", "LK000001-4999",
     "LK000001 to 4999", "lk 000 001 - lk 004 999", "LK000001 through LK004999", "LKOOOOO1-LK004999",
     "LK000001-O04999", "LK 000001 \N{EM DASH} 4999"],
)  # fmt: skip
def test_a_range_in_one_text(typed):
    assert words(typed) == "LK000001 to LK004999"


@pytest.mark.parametrize(
    ("first", "last"),
    [("LK000001", "LK004999"), ("lk-000001", "lk 004999"), ("LK000001", "4999"), ("LK000001", "...4999"),
     ("LK000001", "\N{HORIZONTAL ELLIPSIS}4999"), ("LKOOOOO1", "LKO04999"), ("LK000001", "-4999")],
)  # fmt: skip
def test_a_range_in_two_texts(first, last):
    assert words(first, last) == "LK000001 to LK004999"


@pytest.mark.parametrize(
    ("typed", "block"),
    [("LK0001", "LK000100 to LK000199"), ("LK0001..", "LK000100 to LK000199"),
     ("lk 0001*", "LK000100 to LK000199"), ("lkooo1", "LK000100 to LK000199"),
     ("LK", "LK000000 to LK999999"), ("LK0001-LK0003", "LK000100 to LK000399"),
     ("LK000150-LK0003", "LK000150 to LK000399")],
)  # fmt: skip
def test_the_beginning_of_a_serial_stands_for_all_that_begin_so(typed, block):
    assert words(typed) == block


def test_a_beginning_that_leaves_the_plant_open_is_no_stretch():
    assert words("L") is None


@pytest.mark.parametrize(
    ("typed", "block"),
    [("24W10", "24W10-000 to 24W10-999"), ("24W10-5", "24W10-500 to 24W10-599"),
     ("24w10 500", "24W10-500"), ("24W1O5OO", "24W10-500"), ("24W10-500-24W12-100", "24W10-500 to 24W12-100"),
     ("24W10-500 - 24W12-100", "24W10-500 to 24W12-100"), ("24W10-24W12", "24W10-000 to 24W12-999"),
     ("24W10-500-600", "24W10-500 to 24W10-600")],
)  # fmt: skip
def test_serials_that_hold_dashes_themselves(typed, block):
    assert words(typed, None, (DATED,)) == block


def test_a_beginning_in_a_part_that_orders_less_is_no_stretch():
    assert words("12", None, (LAST_FIRST,)) is None


@pytest.mark.parametrize(
    ("typed", "readings"),
    [
        ("1000-2000", {"10002000", "1000 to 2000"}),
        ("1234-56", {"123456", "1234 to 1256", "1234 to 56"}),
        ("100 200", {"100200", "100 to 200"}),
    ],
)
def test_two_ways_to_read_it_are_both_named(typed, readings):
    with pytest.raises(Ambiguous) as caught:
        words(typed, None, (FREE,))
    assert {reading.words for reading in caught.value.readings} == readings


def test_the_last_signs_and_a_whole_serial_out_of_order_are_two_readings():
    with pytest.raises(Ambiguous, match="100000 to 102000 and as 100000 to 2000"):
        words("100000", "2000", (FREE,))
    assert words("100000", "..2000", (FREE,)) == "100000 to 102000"


def test_a_sign_that_may_be_either_of_two_letters_is_not_guessed():
    letters = SerialScheme(id=5, pattern=r"(?P<plant>[IL])(?P<number>\d{4})", order=["number"])
    with pytest.raises(Ambiguous) as caught:
        words("12345", None, (letters,))
    assert {reading.words for reading in caught.value.readings} == {"I2345", "L2345"}


def test_forms_that_only_mending_reads_and_of_which_two_would_are_both_named():
    one = SerialScheme(id=6, pattern=r"(?P<plant>O)(?P<number>\d{4})", order=["number"])
    other = SerialScheme(id=7, pattern=r"(?P<number>\d{5})", order=["number"])
    with pytest.raises(Ambiguous):
        words("OO123", None, (one, other))  # fits neither: O0123, or 00123


def test_a_whole_serial_with_dots_after_it_has_no_end():
    with pytest.raises(OpenEnd, match="LK000100"):
        words("LK000100..")


def test_every_change_is_told():
    assert changes("LK000123") == ()
    assert changes("lk 000-123") == ("blanks and dashes left out",)
    assert changes("LKO00123") == ("letter O read as digit 0",)
    assert changes("24W10500", scheme=DATED) == ("dashes put in",)
    assert changes("LK000001", "4999") == ("4999 taken for the last signs of LK004999",)
    assert changes("LK0001..") == ("all serials that begin with LK0001",)


def test_what_nothing_reads_is_none():
    assert words("nonsense") is None
    assert words("LK000001", "?") is None
    assert words("") is None


def test_all_forms_that_read_a_serial_are_known():
    five = SerialScheme(id=8, pattern=r"(?P<number>\d{5})", order=["number"])
    reading = read_typed("12345", None, [FREE, five])
    assert reading is not None
    assert read_by(reading.first, [FREE, five]) == [FREE, five]
    assert reading.first.scheme is FREE


CONFUSED = {"0": "0Oo", "1": "1IlLi"}


@st.composite
def copied(draw: st.DrawFn, number: int) -> str:
    """A serial as people copy it: any case, blanks and dashes anywhere, O for 0, I and l for 1."""
    digits = "".join(draw(st.sampled_from(CONFUSED.get(c, c))) for c in f"{number:06}")
    plant = draw(st.sampled_from(["LK", "lk", "Lk"]))
    signs = [plant[0], plant[1], *digits]
    between = [draw(st.sampled_from(["", "", "", " ", "-"])) for _ in signs]
    return "".join(a + b for a, b in zip(between, signs, strict=True)).strip(" -")


@given(st.data(), st.integers(0, 999_999))
def test_however_a_serial_is_copied_it_has_one_place(data, number):
    reading = read_typed(data.draw(copied(number)), None, [FIXED])
    assert reading is not None
    assert (reading.words, int(reading.first.key)) == (f"LK{number:06}", number)


@given(st.data(), st.integers(0, 999_999), st.integers(0, 999_999))
def test_however_both_ends_are_copied_the_range_is_one(data, one, other):
    low, high = sorted((one, other))
    first, last = data.draw(copied(low)), data.draw(copied(high))
    together = f"{first}{data.draw(st.sampled_from([' to ', '..', ' ... ']))}{last}"
    for asked in ((first, last), (together, None)):
        reading = read_typed(*asked, [FIXED])
        assert reading is not None
        assert (int(reading.first.key), int(reading.last.key)) == (low, high)


@given(st.integers(0, 999_999), st.integers(1, 6))
def test_a_beginning_holds_exactly_the_serials_that_begin_so(number, length):
    text = f"LK{number:06}"[: 2 + length]
    reading = read_typed(text, None, [FIXED])
    assert reading is not None
    low, high = int(reading.first.key), int(reading.last.key)
    assert high - low + 1 == 10 ** (6 - length)
    assert f"LK{low:06}".startswith(text)
    assert f"LK{high:06}".startswith(text)


@given(st.text(max_size=60), st.one_of(st.none(), st.text(max_size=40)))
def test_whatever_is_typed_is_read_or_refused(first, last):
    try:
        reading = read_typed(first, last, [FIXED, DATED, FREE])
    except (Ambiguous, OpenEnd):
        return
    assert reading is None or reading.first.serial
