"""Cells that repeat their unit: read by column, and refused where a column has no one unit."""

import numpy as np
import pytest

from registry.waveform import Declared, ReadError, read

SECONDS = np.arange(400) * 0.02
WAVE = 100.0 + 80.0 * np.sin(7.0 * SECONDS)


def lines(time="{:.2f}", vacuum="{:.1f} mmHg", delimiter=";", scale=1.0):
    rows = zip(SECONDS, WAVE, strict=True)
    return [time.format(at) + delimiter + vacuum.format(value * scale) for at, value in rows]


def text(head, rows):
    return "\n".join([*head, *rows, ""]).encode()


def refused(data, declared=None):
    with pytest.raises(ReadError) as caught:
        read(data, declared or Declared())
    return caught.value


@pytest.mark.parametrize(
    ("head", "rows"),
    [
        (["Time (s);Vacuum"], lines()),
        (["Time;Vacuum"], lines(time="{:.2f} s")),
        (["Time;Vacuum"], lines(time="{:.2f}s", vacuum="{:.1f}mmHg")),
        (["Time (s),Vacuum"], lines(delimiter=",")),
        ([], lines(time="{:.2f} s")),
        (["Time (s);Vacuum (mmHg)"], lines()),
        (["Time (s),Vacuum"], lines(time='"{:.2f}"', vacuum='"{:.1f} mmHg"', delimiter=",")),
        (["Time\tVacuum"], lines(time="{:.2f} s", vacuum="{:.1f} mm Hg", delimiter="\t")),
        (["Time (s);Vacuum;Temp"], [row + ";21.3 °C" for row in lines()]),
    ],
)
def test_a_unit_behind_every_number_is_the_columns_unit(head, rows):
    reading = read(text(head, rows))
    assert reading.understood.vacuum_unit == "mmHg"
    assert reading.understood.unit_basis == "cells"
    np.testing.assert_allclose(reading.vacuum, WAVE, atol=0.051)
    assert reading.seconds[-1] == pytest.approx(SECONDS[-1])


def test_units_above_the_rows_stay_where_they_are():
    reading = read(text(["Range: 300 mmHg", "Rate: 50 Hz", "Vacuum"], [row.split(";")[1] for row in lines()]))
    assert reading.understood.rate_hz == pytest.approx(50)
    assert reading.understood.vacuum_column == "Vacuum"
    assert reading.vacuum.size == SECONDS.size


@pytest.mark.parametrize("word", ["OL", "OL mmHg"])
def test_over_range_words_among_units(word):
    over = WAVE > 170
    rows = [
        row if not high else row.split(";")[0] + ";" + word for row, high in zip(lines(), over, strict=True)
    ]
    assert np.array_equal(read(text(["Time (s);Vacuum"], rows)).over_range, over)


def test_what_a_heading_or_the_uploader_says_must_not_differ():
    assert refused(text(["Time (s);Vacuum (kPa)"], lines())).code == "units_disagree"
    assert refused(text(["Time (ms);Vacuum"], lines(time="{:.2f} s"))).code == "units_disagree"
    assert refused(text(["Time (s);Vacuum"], lines()), Declared(unit="kPa")).code == "units_disagree"


def test_a_cell_in_another_unit_is_pointed_at():
    rows = lines()
    rows[200] = rows[200].replace(" mmHg", " kPa")
    fault = refused(text(["Time (s);Vacuum"], rows))
    assert (fault.code, fault.line) == ("not_a_number", 202)
    assert "kPa" in fault.message


def test_a_unit_that_is_none_is_no_number():
    assert refused(text(["Time (s);Vacuum"], lines(vacuum="{:.1f} furlong"))).code in {
        "no_table",
        "no_vacuum_column",
    }
