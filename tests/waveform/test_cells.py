"""Single cells and rows: numbers to the last bit, words for over-range and for nothing, remarks, quotes."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from registry.waveform import Declared, read
from registry.waveform.kernels import cells
from registry.waveform.reader.cells import kind_of

from .test_channels import LEFT, SECONDS, N, refusal, table

ROWS = table("Time (s),Vacuum (mmHg)", SECONDS, LEFT).decode().splitlines()


def number(text, *, comma=False):
    raw = np.frombuffer(text.encode(), dtype=np.uint8)
    good, value = cells.number(raw, 0, raw.size, comma)
    return value if good else None


def scanned(text, width=2, delimiter=",", *, comma=False):
    raw = np.frombuffer(text.encode(), dtype=np.uint8)
    wanted = np.array([width, 0, width - 1])
    most, cut = text.count("\n") + 1, ord(delimiter)
    times, values, _, odd, wide = cells.columns(raw, 0, most, cut, comma, wanted, raw.size < 0)
    return times.tolist(), values.tolist(), odd.tolist(), wide.tolist()


@given(st.integers(-(10**15), 10**15), st.integers(0, 22))
def test_numbers_of_fifteen_digits_are_read_to_the_last_bit(whole, places):
    digits = f"{abs(whole):0{places + 1}d}"
    text = ("-" if whole < 0 else "") + (f"{digits[:-places]}.{digits[-places:]}" if places else digits)
    assert number(text) == float(text)
    assert scanned(f"1,{text}\n")[1] == [float(text)]


@given(st.floats(-1e300, 1e300))
def test_any_float_is_read_within_its_last_bits(value):
    for text in (repr(value), f"{value:.17e}", f"{value:+.6E}"):
        assert number(text) == pytest.approx(float(text), rel=2e-15, abs=1e-280)


@given(st.text(alphabet="0123456789.,+-eE x", max_size=12))
def test_what_is_a_number_is_what_a_number_looks_like(text):
    value = number(text, comma=True)
    assert (value is not None) == (kind_of(text) == "number")
    if value is not None:
        assert value == pytest.approx(float(text.replace(",", ".")), rel=1e-14)


def test_commas_are_decimal_only_where_they_may_be():
    assert number("1,5") is None
    assert number("1,5", comma=True) == 1.5
    assert number("1.5", comma=True) == 1.5
    assert number("1,5.2", comma=True) is None


@pytest.mark.parametrize(
    ("text", "times", "values"),
    [
        ("1,2\n3,4\n", [1, 3], [2, 4]),
        ("1,2\r\n3,4\r\n", [1, 3], [2, 4]),
        ("1,2\n3,4", [1, 3], [2, 4]),
        (" 1 ,\t2\n\n  \n3 , 4 \n", [1, 3], [2, 4]),
        ('"1","2"\n"3",4\n', [1, 3], [2, 4]),
        ("1,2,,\n3,4\n", [1, 3], [2, 4]),
        ("# 9,9\n1,2\n% 9,9\n3,4\n", [1, 3], [2, 4]),
        ("1,-2\n-3,+4\n", [1, -3], [-2, 4]),
        ("1,.5\n3,4.\n", [1, 3], [0.5, 4]),
        ("1e0,2E1\n3,4e-1\n", [1, 3], [20, 0.4]),
    ],
)
def test_rows(text, times, values):
    assert scanned(text) == (times, values, [], [])


def test_cells_that_are_no_numbers_are_pointed_at():
    text = "1,OL\n2,\nx,3\n4,5,6,7\n"
    times, values, odd, wide = scanned(text)
    assert times[:2] == [1, 2]
    assert np.isnan([times[2], values[0], values[1]]).all()
    assert odd == [0, 2, 4]
    assert wide == [3, 4]


def test_a_quote_that_is_never_closed_ends_with_its_line():
    times, values, odd, _ = scanned('1,"2\n3,4\n')
    assert (times, values, odd) == ([1, 3], [2, 4], [])


def with_word(word, inside):
    values = [word if hit else f"{value:.2f}" for value, hit in zip(LEFT, inside, strict=True)]
    return table("Time (s);Vacuum (mmHg)", SECONDS, values, delimiter=";")


@pytest.mark.parametrize(
    "word",
    ["OL", "O.L.", "+OL", "-OL", "0L", "OVER", "over", "-OVER", "Overload", "OVER RANGE", "over-range",
     "ovf", "ovl", "OF", "overflow", "SAT", "####", "#######", "****", ">>>", "+++", "inf", "+Inf", ">Inf",
     "1e999", "----"],
)  # fmt: skip
def test_over_range_words(word):
    reading = read(with_word(word, LEFT > 190))
    assert np.array_equal(reading.over_range, LEFT > 190)
    assert np.isnan(reading.vacuum[LEFT > 190]).all()
    assert [note.code for note in reading.notes] == ["over_range_samples"]


@pytest.mark.parametrize(
    "word", ["", "nan", "NaN", "n/a", "NA", "null", "None", "-", "--", "?", "#N/A", "err"]
)
def test_words_for_nothing(word):
    inside = np.arange(N) % 40 == 7
    reading = read(with_word(word, inside))
    assert np.array_equal(np.isnan(reading.vacuum), inside)
    assert not reading.over_range.any()


def test_dashes_are_over_range_only_between_high_readings():
    scattered = np.arange(N) % 37 == 5
    assert not read(with_word("----", scattered)).over_range.any()
    falling = -LEFT
    values = ["-----" if value < -190 else f"{value:.2f}" for value in falling]
    reading = read(table("Time (s),Pressure (mmHg)", SECONDS, values))
    assert np.array_equal(reading.over_range, LEFT > 190)


@pytest.mark.parametrize(
    "remark",
    [
        "# marker pressed",
        "# marker, pressed, twice",
        "% paused",
        "Event: valve,",
        "Time (s),Vacuum (mmHg)",
        ",",
    ],
)
def test_remarks_between_the_samples_are_left_out(remark):
    reading = read("\n".join([*ROWS[:150], remark, *ROWS[150:]]).encode())
    np.testing.assert_allclose(reading.vacuum, LEFT, atol=1e-4)


def test_remarks_between_clock_times_are_left_out():
    times = [f"10:00:{at:06.3f}" for at in SECONDS]
    lines = table("Clock,Vacuum (mmHg)", times, LEFT).decode().splitlines()
    reading = read("\n".join([*lines[:150], "# marker", "valve opened", *lines[150:], "end of log"]).encode())
    np.testing.assert_allclose(reading.seconds, SECONDS, atol=1e-9)


def test_the_line_at_fault_is_that_of_the_file():
    lines = ["Logger: LX-4", "", *ROWS[:90], "# remark", "", *ROWS[90:]]
    lines[200] = "3.94,about ten"
    fault = refusal("\r\n".join(lines).encode())
    assert (fault.code, fault.line) == ("not_a_number", 201)
    assert "about ten" in fault.message


@pytest.mark.parametrize("tail", [";", ";;", "; "])
def test_delimiters_at_the_end_of_rows_are_no_columns(tail):
    rows = "\n".join(row.replace(",", ";") + tail for row in ROWS[1:])
    for header in ("Time (s);Vacuum (mmHg)", "Time (s);Vacuum (mmHg)" + tail):
        np.testing.assert_allclose(read(f"{header}\n{rows}\n".encode()).vacuum, LEFT, atol=1e-4)


@pytest.mark.parametrize(
    ("written", "unit"),
    [
        ("Vacuum kPa(g)", "kPa"),
        ("Vacuum [kPa rel]", "kPa"),
        ("Vacuum (kPa abs)", "kPa"),
        ("Vacuum [ch1] mmHg", "mmHg"),
        ("Vacuum (in. Hg)", "inHg"),
        ("Vacuum (in.Hg)", "inHg"),
        ("Vacuum (N/m2)", "Pa"),
        ("Vacuum (MPa)", "MPa"),
        ("Vacuum (cmH₂O)", "cmH2O"),
    ],
)
def test_units_with_a_word_more(written, unit):
    data = "\n".join([f"Time (s);{written}", *(row.replace(",", ";") for row in ROWS[1:])]).encode()
    assert read(data, Declared(sign="positive")).understood.vacuum_unit == unit
