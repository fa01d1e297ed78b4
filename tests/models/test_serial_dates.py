"""When a serial says its unit was made, and that later dates come later in order."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from registry.models import SerialScheme
from registry.models.serial_dates import date_form
from registry.models.serial_patterns import Unusable
from registry.models.serials import check_scheme, made_on, place, plant_of

SEEN = date(2026, 3, 2)


def scheme(pattern: str, order: str, **said) -> SerialScheme:
    return SerialScheme(id=1, pattern=pattern, order=order.split(), **said)


def made(serial: str, of: SerialScheme, seen: date = SEEN):
    found = place(serial, [of])
    assert found is not None
    told = made_on(found, seen)
    return None if told is None else (told.first.isoformat(), told.last.isoformat(), told.says, told.year_by)


YW = r"(?P<plant>[A-Z])(?P<yw>\d{4})(?P<number>\d{3})"


@pytest.mark.parametrize(
    ("pattern", "dated", "serial", "told"),
    [
        (YW, {"group": "yw", "form": "YYWW", "base": 2000}, "K2410500",
         ("2024-03-04", "2024-03-10", "week 10 of 2024", "declared base")),
        (r"(?P<ym>\d{4})(?P<n>\d{3})", {"group": "ym", "form": "YYMM"}, "2402001",
         ("2024-02-01", "2024-02-29", "February 2024", "the last that fits")),
        (r"(?P<d>\d{6})(?P<n>\d{2})", {"group": "d", "form": "YYMMDD"}, "24022901",
         ("2024-02-29", "2024-02-29", "2024-02-29", "the last that fits")),
        (r"(?P<d>\d{7})(?P<n>\d{2})", {"group": ["d"], "form": "YYYYDDD"}, "202406001",
         ("2024-02-29", "2024-02-29", "2024-02-29", "written in full")),
        (r"(?P<y>[A-Z])(?P<w>\d\d)(?P<n>\d{3})", {"group": ["y", "w"], "form": "AWW", "base": 2015}, "J10001",
         ("2024-03-04", "2024-03-10", "week 10 of 2024", "declared base")),
        (r"(?P<y>[A-Z])(?P<n>\d{3})", {"group": "y", "form": "A", "base": 2020, "letters": "XYZAB"}, "A001",
         ("2023-01-01", "2023-12-31", "2023", "declared base")),
        (r"(?P<y>\d)(?P<m>[1-9ABC])(?P<n>\d{3})", {"group": ["y", "m"], "form": "YM", "base": 2018}, "7B001",
         ("2027-11-01", "2027-11-30", "November 2027", "declared base")),
        (r"(?P<n>\d{3})(?P<y>\d)", {"group": "y", "form": "Y"}, "0017",
         ("2017-01-01", "2017-12-31", "2017", "the last that fits")),
    ],
)  # fmt: skip
def test_dates_are_read_as_declared(pattern, dated, serial, told):
    order = "number" if "number" in pattern else "n"
    assert check_scheme(pattern, [order], dated) is None
    assert made(serial, scheme(pattern, order, date=dated)) == told


def test_without_a_base_the_year_is_the_last_before_it_was_seen():
    of = scheme(r"(?P<n>\d{3})(?P<y>\d)", "n", date={"group": "y", "form": "Y"})
    years = [made("0017", of, date(year, 1, 5))[2] for year in (2016, 2017, 2026, 2027)]
    assert years == ["2007", "2017", "2017", "2027"]


@pytest.mark.parametrize("serial", ["K2400500", "K2454500"])
def test_what_no_calendar_has_is_no_date_and_keeps_its_place(serial):
    of = scheme(YW, "yw number", date={"group": "yw", "form": "YYWW", "base": 2000})
    assert made(serial, of) is None


@given(st.integers(2018, 2027), st.integers(2018, 2027), st.integers(0, 999), st.integers(0, 999))
def test_a_year_of_one_digit_is_in_order_over_its_decade(one, other, low, high):
    dated = {"group": "y", "form": "Y", "base": 2018}
    of = scheme(r"(?P<y>\d)(?P<n>\d{3})", "y n", date=dated)
    first, last = place(f"{one % 10}{low:03}", [of]), place(f"{other % 10}{high:03}", [of])
    assert first is not None
    assert last is not None
    assert (first.key < last.key) == ((one, low) < (other, high))


def test_letters_are_in_order_of_their_list():
    of = scheme(
        r"(?P<y>[A-Z])(?P<n>\d{3})", "y n", date={"group": "y", "form": "A", "base": 2020, "letters": "XYZAB"}
    )
    keys = [place(f"{letter}001", [of]).key for letter in "XYZAB"]
    assert keys == sorted(keys)
    assert len(set(keys)) == 5


def test_the_plant_is_told_where_the_scheme_names_it():
    of = scheme(YW, "yw number", plant="plant")
    assert plant_of(place("K2410500", [of])) == "K"
    assert plant_of(place("K2410500", [scheme(YW, "yw number")])) is None


@pytest.mark.parametrize(
    ("dated", "says"),
    [
        ({"group": "nope", "form": "YYWW"}, "nope"),
        ({"group": "yw", "form": "YYXX"}, "made of"),
        ({"group": "yw", "form": "WW"}, "needs one year"),
        ({"group": "yw", "form": "YYMMWW"}, "one of month"),
        ({"group": "yw", "form": "YYDD"}, "day without a month"),
        ({"group": "yw", "form": "AWW"}, "declare base"),
        ({"group": "yw", "form": "YWW"}, "declare base, its first year"),
        ({"group": "yw", "form": "AWW", "base": 2020, "letters": "AAB"}, "each sign once"),
        ({"group": "yw", "form": "YYM", "base": 2020, "months": "123"}, "twelve signs"),
        ({"form": "YYWW"}, "names the part none"),
    ],
)
def test_what_is_wrong_with_a_date_is_said(dated, says):
    assert says in str(check_scheme(YW, ["yw", "number"], dated))
    with pytest.raises(Unusable, match=says):
        date_form(dated, {"plant", "yw", "number"}, ["yw", "number"])


def test_a_plant_that_orders_or_is_not_there_is_refused():
    assert "plant names nope" in str(check_scheme(YW, ["number"], {}, "nope"))
    assert "plant names number" in str(check_scheme(YW, ["number"], {}, "number"))
    assert check_scheme(YW, ["number"], {}, "plant") is None
