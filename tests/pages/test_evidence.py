"""Evidence as tables and as a picture, whatever a rule keeps."""

import xml.etree.ElementTree as ET

from registry.pages.evidence import MOST_ROWS, Table, laid_out
from registry.pages.pictures import Mark, marks_of, picture
from tests.pages.conftest import EVIDENCE


def test_single_figures_come_first_and_limits_last():
    tables = laid_out({"limits": {"off": 0.04}, "units": 9, "readings": [{"serial": "a", "percent": 5.0}]})
    assert [table.title for table in tables] == ["Figures", "Readings", "Limits the rule goes by"]
    assert tables[1] == Table("Readings", ["serial", "%"], [["a", "5"]])


def test_groups_by_name_become_rows():
    changes = {"peak_vacuum": {"percent": 8.123456, "low_percent": None}, "cycle_rate": {"percent": -1}}
    (table,) = laid_out({"changes": changes})
    assert table.headings == ["", "%", "low, %"]
    assert table.rows == [["peak vacuum", "8.123", "–"], ["cycle rate", "-1", "–"]]


def test_how_large_stands_before_between_what_and_in_which_unit():
    # As the database gives it back: keys by length.
    change = {"low": -7.1, "high": -4.9, "unit": "cycles/min", "change": -6.0, "percent": -9.1}
    (table,) = laid_out({"changes": {"cycle_rate": change}})
    assert table.headings == ["", "change", "unit", "%", "low", "high"]
    assert table.rows == [["cycle rate", "-6", "cycles/min", "-9.1", "-7.1", "-4.9"]]


def test_anything_can_be_laid_out():
    odd = {
        "flag": True,
        "none": None,
        "list": [1, "two", None],
        "deep": {"a": {"b": {"c": [1]}}},
        "empty": [],
    }
    assert [table.title for table in laid_out(odd)] == ["Figures", "List", "Deep"]


def test_long_lists_are_cut_and_say_so():
    (table,) = laid_out({"readings": [{"n": n} for n in range(MOST_ROWS + 7)]})
    assert (len(table.rows), table.left_out) == (MOST_ROWS, 7)


def test_marks_are_the_whole_then_its_parts():
    marks = list(marks_of(EVIDENCE))
    assert marks[0] == Mark("all together", 6.1, 4.6, 7.6)
    assert marks[1] == Mark("LK000000", 5.0)
    assert len(marks) == 10
    by_name = {"metrics": {"peak_vacuum": {"percent": 8}, "mean_vacuum": {"percent": True}}}
    assert list(marks_of(by_name)) == [Mark("peak vacuum", 8.0)]


def test_nothing_in_per_cent_draws_nothing():
    assert picture({"size": 0.06, "readings": [{"serial": "a"}]}) is None


def test_a_picture_is_well_formed_tells_in_words_and_keeps_its_marks_in_order():
    drawn = picture(
        {"readings": [{"serial": f"<{n}>&", "percent": percent} for n, percent in enumerate((-3, 0, 40))]}
    )
    root = ET.fromstring(str(drawn))
    assert "<0>& -3 %" in root.findtext("desc")
    places = [float(circle.get("cx")) for circle in root.iter("circle")]
    assert places == sorted(places)
    left, _, width, _ = map(float, root.get("viewBox").split())
    assert all(left < place < width for place in places)
    zero = next(line for line in root.iter("line") if line.get("class") == "zero")
    assert float(zero.get("x1")) == places[1]


def test_readings_that_are_all_alike_can_be_drawn():
    assert picture({"readings": [{"serial": "a", "percent": 0}, {"serial": "b", "percent": 0}]})
