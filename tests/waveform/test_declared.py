"""What the uploader declares, what is usual for a gauge, and what the file says against either."""

from dataclasses import replace

import numpy as np
import pytest

from registry.waveform import Declared, ReadError, measure, read

from .test_channels import KPA, LEFT, RIGHT, SECONDS, TWO, N, refusal, table

BARE = table("time (s),vacuum", SECONDS, LEFT)
NAMED = table("Time (s),Vacuum (mmHg)", SECONDS, LEFT)
ALONE = table("Vacuum (mmHg)", LEFT)
TWICE = table("Time (s),A (mmHg),B (mmHg)", SECONDS, LEFT, RIGHT)
EITHER_WAY = table("Time (s),Pressure (mmHg)", SECONDS, LEFT - 100)
FALLING = table("Time (s),Pressure (mmHg)", SECONDS, -LEFT)
ABSOLUTE = table("Time (s),Pressure (mmHg)", SECONDS, 740 - LEFT)


def codes(reading):
    return [note.code for note in reading.notes]


@pytest.mark.parametrize(
    ("data", "declared", "code"),
    [
        (NAMED, Declared(unit="kPa"), "units_disagree"),
        (NAMED, Declared(time_unit="ms"), "units_disagree"),
        (table("Clock,Vacuum (mmHg)", [f"10:00:{at:06.3f}" for at in SECONDS], LEFT), Declared(time_unit="s"),
         "units_disagree"),
        (NAMED, Declared(unit="furlong"), "unit_unknown"),
        (NAMED, Declared(time_unit="fortnight"), "unit_unknown"),
        (NAMED, Declared(rate_hz=100), "rates_disagree"),
        (b"Rate: 50 Hz\n" + ALONE, Declared(rate_hz=60), "rates_disagree"),
        (ALONE, Declared(rate_hz=0), "rate_unknown"),
        (ALONE, Declared(rate_hz=float("nan")), "rate_unknown"),
        (ALONE, Declared(rate_hz=1e300), "rate_unknown"),
        (NAMED, Declared(sign="negative"), "sign_disagrees"),
        (NAMED, Declared(sign="absolute"), "sign_disagrees"),
        (FALLING, Declared(sign="positive"), "sign_disagrees"),
        (FALLING, Declared(sign="absolute"), "sign_disagrees"),
        (ABSOLUTE, Declared(sign="positive"), "sign_disagrees"),
        (ABSOLUTE, Declared(sign="negative"), "sign_disagrees"),
        (NAMED, Declared(sign="upwards"), "sign_disagrees"),
    ],
)  # fmt: skip
def test_a_declaration_that_the_file_contradicts_is_refused(data, declared, code):
    assert refusal(data, declared).code == code


@pytest.mark.parametrize(
    ("data", "declared"),
    [
        (NAMED, Declared(unit="MMHG", time_unit="sec", rate_hz=50, sign="positive", time_column="time (S)")),
        (NAMED, Declared(rate_hz=51)),
        (FALLING, Declared(sign="negative")),
        (ABSOLUTE, Declared(sign="absolute")),
        (b"Rate: 50 Hz\n" + ALONE, Declared(rate_hz=50)),
    ],
)
def test_a_declaration_that_the_file_bears_out_changes_nothing(data, declared):
    said, plain = read(data, declared), read(data)
    assert np.array_equal(said.vacuum, plain.vacuum)
    assert np.array_equal(said.seconds, plain.seconds)
    assert said.understood.unit_basis == plain.understood.unit_basis
    assert said.notes == plain.notes


def test_a_rate_is_compared_with_the_interval_that_is_usual_in_the_file():
    gone = np.r_[0:100, 180:N]
    data = table("Time (s),Vacuum (mmHg)", SECONDS[gone], LEFT[gone])
    assert read(data, Declared(rate_hz=50)).understood.samples == gone.size


@pytest.mark.parametrize(("sign", "factor"), [("positive", 1), ("negative", -1)])
def test_a_declared_sign_settles_what_the_values_leave_open(sign, factor):
    reading = read(EITHER_WAY, Declared(sign=sign))
    assert reading.shown_sign == factor
    assert codes(reading) == []
    assert (reading.understood.counts, reading.understood.sign_basis) == (sign, "declared")
    usual = read(EITHER_WAY, usual=Declared(sign=sign))
    assert usual.shown_sign == factor
    assert usual.understood.sign_basis == "as usual for this gauge"
    assumed = read(EITHER_WAY).understood
    assert assumed.counts is None
    assert assumed.as_usual().sign is None


def test_deep_vacuum_on_a_high_place_is_absolute_where_it_is_said():
    deep = table("Time (s),Pressure (mmHg)", SECONDS, 560 - 2 * LEFT)
    assert read(deep).understood.counts == "positive"
    for said in (read(deep, Declared(sign="absolute")), read(deep, usual=Declared(sign="absolute"))):
        assert said.understood.counts == "absolute"
        assert said.shown_sign == -1
        np.testing.assert_allclose(said.vacuum, 2 * LEFT - 560, atol=1e-3)


@pytest.mark.parametrize(
    ("data", "usual", "field"),
    [
        (BARE, Declared(unit="kPa"), "unit_basis"),
        (table("time,vacuum (mmHg)", 1000 * SECONDS, LEFT), Declared(time_unit="ms"), "time_unit_basis"),
        (ALONE, Declared(rate_hz=50), "rate_basis"),
        (TWICE, Declared(vacuum_column="B (mmHg)"), "vacuum_column_basis"),
        (TWICE, Declared(vacuum_column="3"), "vacuum_column_basis"),
    ],
)
def test_what_nothing_else_says_is_as_usual(data, usual, field):
    reading = read(data, usual=usual)
    assert getattr(reading.understood, field) == "as usual for this gauge"
    assert codes(reading) == []


@pytest.mark.parametrize(
    ("data", "usual", "words"),
    [
        (NAMED, Declared(unit="kPa"), "the unit is mmHg, usually kPa"),
        (NAMED, Declared(time_unit="ms"), "the unit of time is s, usually ms"),
        (NAMED, Declared(rate_hz=200), "the rate is 50 Hz, usually 200 Hz"),
        (b"Rate: 50 Hz\n" + ALONE, Declared(rate_hz=200), "the rate is 50 Hz, usually 200 Hz"),
        (NAMED, Declared(vacuum_column="Druck"), "a column that is not the usual one"),
        (NAMED, Declared(sign="negative"), "the sign is positive, usually negative"),
        (EITHER_WAY, Declared(sign="absolute"), "usually absolute"),
    ],
)
def test_the_file_goes_before_what_is_usual_with_a_note(data, usual, words):
    reading = read(data, usual=usual)
    (note,) = [note for note in reading.notes if note.code == "unlike_usual"]
    assert note.severity == "note"
    assert words in note.message
    assert np.array_equal(reading.vacuum, read(data).vacuum)


def test_no_finding_repeats_a_heading():
    data = table("Time (s),Vacuum of Mary Roe (mmHg)", SECONDS, LEFT)
    (note,) = read(data, usual=Declared(vacuum_column="Vacuum of Jane Doe")).notes
    assert "Roe" not in note.message
    assert "Doe" not in note.message


def test_a_unit_kept_for_one_column_is_not_taken_for_another():
    usual = Declared(unit="mbar", vacuum_column="Druck")
    with pytest.raises(ReadError) as caught:
        read(BARE, usual=usual)
    assert caught.value.code == "unit_unknown"
    assert "Declare unit" in caught.value.hint
    assert read(BARE, Declared(unit="kPa"), usual).understood.vacuum_unit == "kPa"


def test_a_column_whose_heading_is_there_twice_is_kept_by_its_number():
    data = table("Time (s),P (mmHg),P (mmHg)", SECONDS, LEFT, RIGHT)
    first = read(data, Declared(vacuum_column="3"))
    assert first.understood.vacuum_column == "column 3"
    again = read(data, usual=first.understood.as_usual())
    assert np.array_equal(first.vacuum, again.vacuum)
    assert codes(again) == []


UNTIMED = table("", LEFT, RIGHT)


def test_a_bare_table_without_times_is_read_by_column_and_rate():
    for number, side in (("1", LEFT), ("2", RIGHT)):
        reading = read(UNTIMED, Declared(unit="mmHg", rate_hz=50, vacuum_column=number))
        np.testing.assert_allclose(reading.vacuum, side, atol=1e-4)
        np.testing.assert_allclose(reading.seconds, np.arange(N) / 50)
        assert (reading.understood.time_column, reading.understood.rate_basis) == (None, "declared")
    again = read(UNTIMED, usual=reading.understood.as_usual())
    assert np.array_equal(reading.vacuum, again.vacuum)
    assert np.array_equal(reading.seconds, again.seconds)


@pytest.mark.parametrize(
    ("declared", "code", "wanted"),
    [
        (Declared(unit="mmHg"), "ambiguous_columns", "vacuum_column"),
        (Declared(unit="mmHg", rate_hz=50), "ambiguous_columns", "vacuum_column"),
        (Declared(unit="mmHg", vacuum_column="2"), "rate_unknown", "rate_hz"),
    ],
)
def test_what_a_bare_table_without_times_leaves_open_is_asked_for(declared, code, wanted):
    found = refusal(UNTIMED, declared)
    assert (found.code, found.line) == (code, 2)  # there is an empty line before
    assert wanted in found.hint


def test_times_are_never_taken_for_vacuum():
    for data in (NAMED, table("Time,Vacuum (mmHg)", SECONDS, LEFT)):
        found = refusal(data, Declared(vacuum_column="1", unit="mmHg"))
        assert found.code == "column_unknown"
        assert "holds the times" in found.message


def test_all_that_is_unlike_the_usual_stands_in_one_note():
    reading = read(NAMED, usual=Declared(unit="kPa", time_unit="ms", sign="absolute"))
    assert codes(reading) == ["unlike_usual"]
    assert reading.notes[0].message.count("usually") == 3


def test_a_declaration_goes_before_what_is_usual():
    reading = read(BARE, Declared(unit="mmHg"), Declared(unit="kPa"))
    assert (reading.understood.vacuum_unit, reading.understood.unit_basis) == ("mmHg", "declared")
    assert codes(reading) == []
    taken = read(TWICE, Declared(vacuum_column="A"), Declared(vacuum_column="B"))
    np.testing.assert_allclose(taken.vacuum, LEFT, atol=1e-4)


def test_zero_and_side_are_never_taken_from_what_is_usual():
    assert refusal(TWO).code == "side_needed"
    with pytest.raises(ReadError) as caught:
        read(TWO, usual=Declared(side="left"))
    assert caught.value.code == "side_needed"
    plain = measure(NAMED)
    assert measure(NAMED, usual=Declared(zero_offset_mmhg=3.0)).metrics == plain.metrics


FIRST_UPLOADS = [
    (BARE, Declared(unit="kPa")),
    (NAMED, Declared()),
    (ALONE, Declared(rate_hz=50)),
    (TWICE, Declared(vacuum_column="b")),
    (TWICE, Declared(vacuum_column="2")),
    (EITHER_WAY, Declared(sign="negative")),
    (ABSOLUTE, Declared()),
    (table("", SECONDS, LEFT * KPA, RIGHT), Declared(unit="kPa", time_unit="s", vacuum_column="2")),
    (table("Clock,Vacuum", [f"10:00:{at:06.3f}" for at in SECONDS], LEFT), Declared(unit="hPa")),
]


@pytest.mark.parametrize(("data", "declared"), FIRST_UPLOADS)
def test_what_was_understood_serves_the_next_file_without_a_word(data, declared):
    first = read(data, declared)
    again = read(data, usual=first.understood.as_usual())
    assert np.array_equal(first.vacuum, again.vacuum)
    assert np.array_equal(first.seconds, again.seconds)
    assert codes(again) == [code for code in codes(first) if code != "time_unit_assumed"]
    assert again.understood.as_usual() == first.understood.as_usual()


def test_what_is_kept_from_one_side_serves_the_other():
    kept = read(TWO, Declared(side="left")).understood.as_usual()
    assert (kept.vacuum_column, kept.side, kept.zero_offset_mmhg) == (None, None, None)
    right = read(TWO, Declared(side="right"), kept)
    np.testing.assert_allclose(right.vacuum, RIGHT, atol=1e-4)
    assert codes(right) == []


def test_a_column_kept_by_its_heading_is_found_in_another_unit():
    kept = replace(read(TWICE, Declared(vacuum_column="B")).understood.as_usual(), sign=None)
    other = table("Time (s),A (kPa),B (kPa)", SECONDS, LEFT * KPA, RIGHT * KPA)
    reading = read(other, usual=kept)
    np.testing.assert_allclose(reading.vacuum, RIGHT, atol=1e-3)
    assert "the unit is kPa, usually mmHg" in reading.notes[0].message
