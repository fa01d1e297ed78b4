"""Any bytes: a Reading or a ReadError, nothing else, and never for long."""

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from registry.waveform import Declared, Measured, ReadError, Reading, read

from .files import PASCALS, TIMES, Dialect, write
from .mutations import measured_somehow, mutated, seeds

CELLS = st.sampled_from(
    ["0", "1.5", "-2,5", "OL", "", "10:00:01", "2026-03-04T10:00:00Z", "kPa", "Time (s)", '"', "µ"]
)
TABLES = st.lists(st.lists(CELLS, min_size=1, max_size=4), min_size=1, max_size=30)


def outcome(data, declared):
    """The reading, or the refusal."""
    try:
        return read(data, declared)
    except ReadError as fault:
        return fault


def agreed(result):
    """Whether it is a reading, or a refusal with a code, words and a hint."""
    if isinstance(result, ReadError):
        return result.code.isidentifier() and bool(result.message) and bool(result.hint)
    return isinstance(result, Reading | Measured)


@given(st.binary(max_size=3000))
def test_any_bytes_are_read_or_refused(data):
    assert agreed(outcome(data, Declared(unit="mmHg", rate_hz=50)))


@given(TABLES, st.sampled_from([",", ";", "\t", " ", "|"]), st.sampled_from(["\n", "\r\n", "\r"]))
def test_any_table_of_likely_cells_is_read_or_refused(rows, delimiter, newline):
    data = newline.join(delimiter.join(row) for row in rows).encode()
    assert agreed(outcome(data, Declared(unit="kPa", rate_hz=10)))


@settings(max_examples=80, suppress_health_check=[HealthCheck.too_slow])
@given(
    values=st.lists(st.floats(0.1, 400), min_size=12, max_size=60),
    unit=st.sampled_from(sorted(PASCALS)),
    when=st.sampled_from(sorted(TIMES)),
    delimiter=st.sampled_from([",", ";", "\t", "|"]),
    comma=st.booleans(),
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "latin-1"]),
    newline=st.sampled_from(["\n", "\r\n"]),
)
def test_what_is_written_is_read_back(values, unit, when, delimiter, comma, encoding, newline):
    decimal = "," if comma and delimiter != "," else "."
    dialect = Dialect(delimiter, decimal, unit, when, 1, newline, encoding)
    vacuum = np.array(values)
    seconds = np.arange(vacuum.size) / 20
    reading = read(write(seconds, vacuum, dialect))
    np.testing.assert_allclose(reading.vacuum, vacuum, rtol=1e-9)
    np.testing.assert_allclose(reading.seconds, seconds, atol=1e-7)


@pytest.mark.parametrize("part", range(4))
def test_damaged_files_are_measured_or_refused(part):
    sound = seeds()
    for number in range(400):
        rng = np.random.default_rng([part, number])
        sent = mutated(sound, rng)
        try:
            result = measured_somehow(sent, rng)
        except ReadError as fault:
            result = fault
        assert agreed(result)
