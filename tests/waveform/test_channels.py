"""Files with several columns: which one is the vacuum, on which side, with which times."""

import numpy as np
import pytest

from registry.waveform import Channel, Declared, ReadError, channels_of, read
from registry.waveform.reader.sides import side_of, sides_of

N = 400
SECONDS = np.arange(N) / 50
LEFT = 100 - 95 * np.cos(2 * np.pi * SECONDS / 0.8)
RIGHT = 80 - 70 * np.cos(2 * np.pi * (SECONDS - 0.3) / 0.8)
KPA = 0.133322387415


def table(header, *columns, delimiter=","):
    rows = zip(*(column if isinstance(column, list) else column.tolist() for column in columns), strict=True)
    body = "\n".join(delimiter.join(_cell(value) for value in row) for row in rows)
    return f"{header}\n{body}\n".encode()


def _cell(value):
    return value if isinstance(value, str) else f"{value:.4f}"


def refusal(data, declared=None):
    with pytest.raises(ReadError) as caught:
        read(data, declared or Declared())
    assert caught.value.hint
    return caught.value


TWO = table("Time (s),Left (mmHg),Right (mmHg)", SECONDS, LEFT, RIGHT)


@pytest.mark.parametrize(
    ("left", "right"),
    [
        ("Left", "Right"),
        ("vacuum_left", "vacuum_right"),
        ("LEFT SIDE", "RIGHT SIDE"),
        ("Vacuum L", "Vacuum R"),
        ("P_L", "P_R"),
        ("pL", "pR"),
        ("VACL", "VACR"),
        ("VacuumLeft1", "VacuumRight1"),
        ("Unterdruck links", "Unterdruck rechts"),
        ("linke Seite", "rechte Seite"),
        ("Vide gauche", "Vide droite"),
        ("vacío izquierda", "vacío derecha"),
        ("Vacío izq.", "Vacío der."),
        ("vuoto sinistra", "vuoto destra"),
        ("Vide G", "Vide D"),
        ("p li", "p re"),
        ("vuoto sx", "vuoto dx"),
    ],
)
def test_headings_tell_the_sides(left, right):
    assert sides_of([left, right]) == ["left", "right"]
    assert sides_of([right, left]) == ["right", "left"]
    data = table(f"Time (s),{right} (mmHg),{left} (mmHg)", SECONDS, RIGHT, LEFT)
    assert [(one.side, one.column) for one in channels_of(data)] == [
        ("left", f"{left} (mmHg)"),
        ("right", f"{right} (mmHg)"),
    ]
    np.testing.assert_allclose(read(data, Declared(side="left")).vacuum, LEFT, atol=1e-4)
    np.testing.assert_allclose(read(data, Declared(side="right")).vacuum, RIGHT, atol=1e-4)


@pytest.mark.parametrize(
    "pair",
    [("Side 1", "Side 2"), ("CH1", "CH2"), ("A", "B"), ("Vacuum", "Vacuum"), ("gd", "dg"), ("P1", "P2")],
)
def test_headings_that_tell_no_sides(pair):
    assert sides_of(pair) == [None, None]
    data = table(f"Time (s),{pair[0]} (mmHg),{pair[1]} (mmHg)", SECONDS, LEFT, RIGHT)
    for declared in (Declared(), Declared(side="left")):
        fault = refusal(data, declared)
        assert fault.code == "ambiguous_columns"
        assert pair[0] in fault.message
        assert "vacuum_column" in fault.hint
    with pytest.raises(ReadError, match="Several columns"):
        channels_of(data)


def test_a_word_that_only_holds_a_side_tells_none():
    assert [side_of(word) for word in ("brightness", "controller", "lr", "left right", "")] == [None] * 5


def test_a_file_of_both_sides_needs_a_side():
    for side in (None, "single"):
        fault = refusal(TWO, Declared(side=side))
        assert fault.code == "side_needed"
        assert "Left (mmHg)" in fault.message
        assert "Right (mmHg)" in fault.message
    assert channels_of(TWO, Declared(side="left")) == channels_of(TWO)
    assert refusal(TWO, Declared(side="middle")).code == "side_disagrees"


def test_the_side_is_shown_and_the_column_it_was_found_by():
    understood = read(TWO, Declared(side="right")).understood
    assert (understood.side, understood.vacuum_column) == ("right", "Right (mmHg)")
    assert understood.vacuum_column_basis == "side"


def test_a_single_column_with_a_declared_side():
    plain = table("Time (s),Vacuum (mmHg)", SECONDS, LEFT)
    assert read(plain, Declared(side="left")).understood.side == "left"
    assert channels_of(plain, Declared(side="left")) == (Channel("left", "Vacuum (mmHg)", "mmHg"),)
    assert channels_of(plain) == (Channel("single", "Vacuum (mmHg)", "mmHg"),)
    right = table("Time (s),Vacuum right (mmHg)", SECONDS, RIGHT)
    assert read(right).understood.side == "right"
    assert read(right, Declared(side="right")).understood.side == "right"
    fault = refusal(right, Declared(side="left"))
    assert fault.code == "side_disagrees"
    assert "Vacuum right (mmHg)" in fault.message


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("ch2 (kpa)", RIGHT),
        (" CH 2 (kPa) ", RIGHT),
        ("CH2", RIGHT),
        ("3", RIGHT),
        ("column 3", RIGHT),
        ("2", LEFT),
        ("ch1", LEFT),
    ],
)
def test_a_column_is_declared_by_its_heading_or_number(name, expected):
    data = table("Time (s),CH1 (mmHg),CH2 (kPa)", SECONDS, LEFT, RIGHT * KPA)
    reading = read(data, Declared(vacuum_column=name))
    np.testing.assert_allclose(reading.vacuum, expected, atol=1e-3)
    assert reading.understood.vacuum_column_basis == "declared"
    (channel,) = channels_of(data, Declared(vacuum_column=name))
    assert channel.side == "single"


def test_a_heading_that_is_a_number_goes_before_the_number_of_a_column():
    data = table("Time (s),3 (mmHg),2 (mmHg)", SECONDS, LEFT, RIGHT)
    np.testing.assert_allclose(read(data, Declared(vacuum_column="2")).vacuum, RIGHT, atol=1e-4)


@pytest.mark.parametrize(
    ("declared", "code"),
    [
        (Declared(vacuum_column="Druck"), "column_unknown"),
        (Declared(vacuum_column="4"), "column_unknown"),
        (Declared(vacuum_column="0"), "column_unknown"),
        (Declared(vacuum_column="Time (s)", time_column="Time (s)"), "column_unknown"),
        (Declared(vacuum_column="Left", time_column="clock"), "column_unknown"),
        (Declared(vacuum_column="Left", side="right"), "side_disagrees"),
    ],
)
def test_a_declared_column_that_cannot_be(declared, code):
    assert refusal(TWO, declared).code == code


def test_a_declared_column_of_words_or_of_two_is_refused():
    words = table("Time (s),Vacuum (mmHg),Status", SECONDS, LEFT, ["ok"] * N)
    assert refusal(words, Declared(vacuum_column="Status")).code == "column_unknown"
    assert refusal(words, Declared(time_column="Status")).code == "column_unknown"
    twice = table("Time (s),p (mmHg),p (mmHg)", SECONDS, LEFT, RIGHT)
    fault = refusal(twice, Declared(vacuum_column="p"))
    assert fault.code == "ambiguous_columns"
    assert "2 or 3" in fault.hint


def test_each_side_has_its_unit_and_other_columns_do_not_matter():
    data = table(
        "No.;Time (s);Temp L (C);Left (mmHg);Battery (V);Ambient (kPa);Right (kPa);Temp R (C);Marker",
        [str(index) for index in range(N)],
        SECONDS,
        *([["21.5"] * N, LEFT, ["3.7"] * N, ["101.3"] * N, RIGHT * KPA, ["22.0"] * N, [""] * N]),
        delimiter=";",
    )
    assert channels_of(data) == (
        Channel("left", "Left (mmHg)", "mmHg"),
        Channel("right", "Right (kPa)", "kPa"),
    )
    np.testing.assert_allclose(read(data, Declared(side="right")).vacuum, RIGHT, atol=1e-3)


def test_the_pressure_of_the_room_is_no_vacuum():
    for room in ("Luftdruck (hPa)", "Barometer (hPa)", "Ambient pressure (hPa)", "Room pressure (hPa)"):
        data = table(f"Time (s),{room},Vacuum (mmHg)", SECONDS, ["1013"] * N, LEFT)
        assert read(data).understood.vacuum_column == "Vacuum (mmHg)"


def test_a_current_pressure_is_vacuum():
    data = table("Time (s),Current pressure (mmHg)", SECONDS, LEFT)
    assert read(data).understood.vacuum_column == "Current pressure (mmHg)"


@pytest.mark.parametrize(
    "header",
    [
        "t L (s),Vac L (mmHg),t R (ms),Vac R (mmHg)",
        "t (s),Vac L (mmHg),t (ms),Vac R (mmHg)",
        "Left,,Right,\nTime (s),Vacuum (mmHg),Time (ms),Vacuum (mmHg)",
        "Left,,Right,\nTime,Vacuum,Time,Vacuum\ns,mmHg,ms,mmHg",
    ],
)
def test_each_side_may_have_its_own_times(header):
    data = table(header, SECONDS, LEFT, 1000 * (SECONDS + 0.004), RIGHT)
    left, right = (read(data, Declared(side=side)) for side in ("left", "right"))
    assert (left.understood.time_unit, right.understood.time_unit) == ("s", "ms")
    np.testing.assert_allclose(right.seconds, SECONDS, atol=1e-9)
    assert right.origin_s - left.origin_s == pytest.approx(0.004)
    np.testing.assert_allclose(right.vacuum, RIGHT, atol=1e-4)


def test_sides_of_different_length_with_their_own_times():
    short = [f"{value:.4f}" if index < 300 else "" for index, value in enumerate(RIGHT)]
    times = [f"{value:.4f}" if index < 300 else "" for index, value in enumerate(SECONDS)]
    data = table("t L (s),Vac L (mmHg),t R (s),Vac R (mmHg)", SECONDS, LEFT, times, short)
    assert read(data, Declared(side="left")).understood.samples == N
    assert read(data, Declared(side="right")).understood.samples == 300


def test_a_bare_table_of_three_columns():
    data = table("", SECONDS, LEFT, RIGHT)
    fault = refusal(data, Declared(unit="mmHg"))
    assert fault.code == "ambiguous_columns"
    assert "column 2" in fault.message
    assert "column 1" not in fault.message
    reading = read(data, Declared(unit="mmHg", time_unit="s", vacuum_column="3"))
    np.testing.assert_allclose(reading.vacuum, RIGHT, atol=1e-4)
    np.testing.assert_allclose(reading.seconds, SECONDS, atol=1e-9)
    assert reading.understood.vacuum_column == "column 3"
