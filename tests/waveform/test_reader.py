"""What the reader takes, what it refuses, and how it says so."""

import ast
import gzip
import pickle
from pathlib import Path

import numpy as np
import pytest

from registry.waveform import Declared, ReadError, read
from registry.waveform.reader import payload, table
from registry.waveform.reader.refusals import REFUSALS
from registry.waveform.types import NOTHING_DECLARED

N = 400
SECONDS = np.arange(N) / 50
WAVE = 100 - 95 * np.cos(2 * np.pi * SECONDS / 0.8)


def body(times=None, values=None, delimiter=","):
    times = [f"{at:.2f}" for at in SECONDS] if times is None else times
    values = [f"{value:.2f}" for value in WAVE] if values is None else values
    return "\n".join(f"{a}{delimiter}{b}" for a, b in zip(times, values, strict=True)) + "\n"


def refusal(data, declared=NOTHING_DECLARED):
    with pytest.raises(ReadError) as caught:
        read(data if isinstance(data, bytes) else data.encode(), declared)
    assert caught.value.message
    assert caught.value.hint
    return caught.value


@pytest.mark.parametrize(
    ("header", "unit", "time_unit"),
    [
        ("Time (s),Vacuum (mmHg)", "mmHg", "s"),
        ("time,vacuum_kPa", "kPa", "s"),
        ("t/s,p/kPa", "kPa", "s"),
        ("Zeit [s],Unterdruck [mbar]", "mbar", "s"),
        ("Elapsed s,Pressure in hPa", "hPa", "s"),
        ("Seconds,Suction inHg", "inHg", "s"),
        ("Time (s),Pressure [cm H2O]", "cmH2O", "s"),
        ("Time_s,Vacuum_PSI", "psi", "s"),
        ("# time (s), vacuum (torr)", "Torr", "s"),
        ('"Time, s","Vacuum, Pa"', "Pa", "s"),
        ("Time(s),Vac(mm Hg)", "mmHg", "s"),
        ("s,bar", "bar", "s"),
    ],
)
def test_units_are_found_in_header_cells(header, unit, time_unit):
    reading = read((header + "\n" + body()).encode())
    assert reading.understood.vacuum_unit == unit
    assert reading.understood.time_unit == time_unit
    assert reading.understood.unit_basis == "header"
    assert reading.understood.samples == N


def test_blank_separated_columns_with_units_in_brackets():
    reading = read(("Time (s)   Vacuum (mmHg)\n" + body(delimiter="   ")).encode())
    assert reading.understood.delimiter == "blank"
    assert reading.understood.vacuum_unit == "mmHg"
    np.testing.assert_allclose(reading.vacuum, WAVE, atol=0.006)


def test_the_unit_may_stand_in_the_preamble_or_be_declared():
    bare = "time (s),vacuum\n" + body()
    assert read(("Unit: kPa\n" + bare).encode()).understood.unit_basis == "preamble"
    assert read(bare.encode(), Declared(unit="kPa")).understood.unit_basis == "declared"
    assert refusal(bare).code == "unit_unknown"
    assert refusal(bare, Declared(unit="furlong")).code == "unit_unknown"
    assert refusal("time (s),vacuum (kPa)\n" + body(), Declared(unit="mmHg")).code == "units_disagree"


def test_rows_without_times_need_a_rate():
    values = "Vacuum (mmHg)\n" + "\n".join(f"{value:.1f}" for value in WAVE)
    assert refusal(values).code == "rate_unknown"
    declared = read(values.encode(), Declared(rate_hz=50))
    assert declared.understood.clock == "declared rate"
    np.testing.assert_allclose(declared.seconds, SECONDS)
    stated = read(("Sample rate: 50 Hz\n" + values).encode())
    np.testing.assert_allclose(stated.seconds, SECONDS)
    interval = read(("interval = 20 ms\n" + values).encode())
    np.testing.assert_allclose(interval.seconds, SECONDS)


def test_sample_numbers_count_from_any_number_and_may_skip():
    numbers = [str(17 + index + (index > 100)) for index in range(N)]
    reading = read(("Sample,Vacuum (mmHg)\n" + body(times=numbers)).encode(), Declared(rate_hz=50))
    assert reading.understood.clock == "sample numbers"
    assert reading.seconds[-1] == pytest.approx(N / 50)


def test_a_clock_of_whole_seconds_is_rebuilt_between_its_ticks():
    offset = 0.37
    times = [f"10:00:{int(at + offset):02d}" for at in SECONDS]
    reading = read(("Clock,Vacuum (mmHg)\n" + body(times=times)).encode())
    assert [note.code for note in reading.notes] == ["clock_rebuilt"]
    np.testing.assert_allclose(reading.seconds, SECONDS, atol=0.02)


def test_a_clock_that_rounds_is_made_even():
    times = [f"{at:.2f}" for at in np.arange(N) / 64]
    reading = read(("Time (s),Vacuum (mmHg)\n" + body(times=times)).encode())
    np.testing.assert_allclose(reading.seconds, np.arange(N) / 64, atol=2e-3)
    assert np.ptp(np.diff(reading.seconds)) < 1e-9


@pytest.mark.parametrize("word", ["OL", "OVER", ">>>", "O.L", "+OL", "inf"])
def test_over_range_words_are_marked(word):
    values = [f"{value:.1f}" if value < 190 else word for value in WAVE]
    reading = read(("Time (s),Vacuum (mmHg)\n" + body(values=values)).encode())
    assert np.array_equal(reading.over_range, WAVE >= 190)
    assert np.isnan(reading.vacuum[reading.over_range]).all()


def test_empty_cells_are_missing_and_not_over_range():
    values = [f"{value:.1f}" if index % 40 else "" for index, value in enumerate(WAVE)]
    reading = read(("Time (s),Vacuum (mmHg)\n" + body(values=values)).encode())
    assert np.isnan(reading.vacuum).sum() == N // 40
    assert not reading.over_range.any()


def test_a_footer_and_repeated_headers_are_no_samples():
    lines = body().splitlines()
    text = "\n".join(
        ["Time (s),Vacuum (mmHg)", *lines[:200], "Time (s),Vacuum (mmHg)", *lines[200:], "End,of log"]
    )
    assert read(text.encode()).understood.samples == N


def test_other_columns_are_left_alone():
    rows = [
        f"{i},{at:.2f},{21.5},{value:.1f},OK" for i, (at, value) in enumerate(zip(SECONDS, WAVE, strict=True))
    ]
    text = "No.,Time (s),Temp (°C),Vacuum (mmHg),Status\n" + "\n".join(rows)
    reading = read(text.encode())
    assert (reading.understood.time_column, reading.understood.vacuum_column) == ("Time (s)", "Vacuum (mmHg)")
    np.testing.assert_allclose(reading.vacuum, WAVE, atol=0.06)


def test_separate_date_and_time_columns():
    rows = [
        f"2026-03-04;23:59:{56 + at:06.3f};{value:.1f}"
        for at, value in zip(SECONDS[:150], WAVE, strict=False)
    ]
    late = [
        f"2026-03-05;00:00:{at - 4 + 0.0:06.3f};{v:.1f}"
        for at, v in zip(SECONDS[200:], WAVE[200:], strict=True)
    ]
    reading = read(("Date;Time;Vacuum (mmHg)\n" + "\n".join(rows + late)).encode())
    np.testing.assert_allclose(reading.seconds, np.concatenate([SECONDS[:150], SECONDS[200:]]), atol=1e-6)


def test_time_without_a_unit_is_guessed_and_said():
    reading = read(("time,vacuum (mmHg)\n" + body(times=[f"{at * 1000:.0f}" for at in SECONDS])).encode())
    assert reading.understood.time_unit == "ms"
    assert [note.code for note in reading.notes] == ["time_unit_assumed"]


def test_absolute_pressure_is_told_from_relative():
    values = [f"{760 - value:.2f}" for value in WAVE]
    reading = read(("Time (s),Pressure (mmHg)\n" + body(values=values)).encode())
    assert reading.understood.sign.startswith("absolute")
    np.testing.assert_allclose(reading.vacuum, WAVE - 760, atol=0.02)


def test_a_sign_that_cannot_be_told_is_held():
    values = [f"{value - 100:.2f}" for value in WAVE]
    reading = read(("Time (s),Pressure (mmHg)\n" + body(values=values)).encode())
    assert "sign_assumed" in [note.code for note in reading.notes]
    assert reading.shown_sign == -1


def test_the_list_of_refusals_is_that_of_the_source():
    raised = set()
    for path in Path(payload.__file__).parent.glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "ReadError":
                raised.add(node.args[0].value)
    assert raised == set(REFUSALS)


@pytest.mark.parametrize(
    ("data", "code"),
    [
        (b"", "empty"),
        (b" \n\n", "empty"),
        (b"PK\x03\x04rest", "not_text"),
        (b"\x00\x01\x02\x03" * 50, "not_text"),
        (b"hello\nworld\n", "no_table"),
        (gzip.compress(b"x" * 1000, mtime=0)[:-9], "damaged_gzip"),
        (b"\x1f\x8b" + b"junk" * 9, "damaged_gzip"),
        (b"Time (s),Vacuum (mmHg)\n0,1\n0.1,2\n", "too_short"),
        (b"Time (s),Temp (C)\n" + b"0.1,20\n0.2,21\n" * 20, "no_vacuum_column"),
        (b"Time (s),One (mmHg),Two (mmHg)\n" + b"0.1,20,3\n0.2,21,4\n" * 20, "ambiguous_columns"),
        (b"Time (s),Left (mmHg),Right (mmHg)\n" + b"0.1,20,3\n0.2,21,4\n" * 20, "side_needed"),
    ],
)
def test_refusals_have_stable_codes(data, code):
    assert refusal(data).code == code


def test_a_word_among_the_numbers_is_refused_with_its_line():
    lines = ("Time (s),Vacuum (mmHg)\n" + body()).splitlines()
    lines[123] = "2.44,about ten"
    fault = refusal("\n".join(lines))
    assert (fault.code, fault.line) == ("not_a_number", 124)


def test_a_row_with_too_many_cells_is_refused_with_its_line():
    lines = ("Time (s),Vacuum (mmHg)\n" + body()).splitlines()
    lines[123] += ",7,8"
    fault = refusal("\n".join(lines))
    assert (fault.code, fault.line) == ("ragged_row", 124)


def test_time_that_goes_back_is_refused_with_its_line():
    lines = ("Time (s),Vacuum (mmHg)\n" + body()).splitlines()
    lines[200] = "1.00,5.0"
    fault = refusal("\n".join(lines))
    assert (fault.code, fault.line) == ("time_goes_back", 201)


def test_a_bad_clock_is_refused_with_its_line():
    lines = ("Clock,Vacuum (mmHg)\n" + body(times=[f"10:00:{at:06.3f}" for at in SECONDS])).splitlines()
    lines[57] = "10:xx:01.1,5.0"
    fault = refusal("\n".join(lines))
    assert (fault.code, fault.line) == ("bad_time", 58)


def test_decimal_commas_between_commas_are_refused():
    text = "Time (s),Vacuum (mmHg)\n" + body().replace(".", ",")
    assert refusal(text).code == "decimal_comma_unclear"


def test_decompression_is_bounded(monkeypatch):
    monkeypatch.setattr(payload, "MOST_BYTES", 100_000)
    bomb = gzip.compress(b"0" * 5_000_000)
    assert refusal(bomb).code == "too_large"
    assert refusal(b"1" * 100_001).code == "too_large"


def test_the_number_of_samples_is_bounded(monkeypatch):
    monkeypatch.setattr(table, "MOST_SAMPLES", 100)
    assert refusal("Time (s),Vacuum (mmHg)\n" + body()).code == "too_many_samples"


def test_a_refusal_survives_pickling():
    fault = ReadError("ragged_row", "A row.", 3, "Look.")
    again = pickle.loads(pickle.dumps(fault))
    assert (again.code, again.message, again.line, again.hint) == ("ragged_row", "A row.", 3, "Look.")


def test_what_was_understood_is_ready_for_json():
    understood = read(("Time (s),Vacuum (mmHg)\n" + body()).encode()).understood.as_dict()
    assert understood["delimiter"] == "comma"
    assert understood["rate_hz"] == pytest.approx(50)
    assert understood["duration_s"] == pytest.approx((N - 1) / 50)
    assert all(isinstance(value, str | int | float | None) for value in understood.values())
