"""What names are made of, and what of people's words is shown."""

import unicodedata

import pytest

from client_cli.text import clean
from registry.plaintext import is_name, readable

# Unicode Standard Annex 9, version 15: the property Bidi_Control, in PropList.txt.
BIDI_CONTROL = [0x061C, 0x200E, 0x200F, *range(0x202A, 0x202F), *range(0x2066, 0x206A)]
CONTROLS = [place for place in range(0x110000) if unicodedata.category(chr(place)) == "Cc"]


@pytest.mark.parametrize("place", [*BIDI_CONTROL, *CONTROLS])
def test_no_name_holds_what_is_not_seen(place):
    assert not is_name(f"LK{chr(place)}01")


def test_names_are_written_in_any_script():
    for name in ("Larkspur Two", "מגבר 2", "ポンプ", "é ± 1.0-b", "O'Neil & <b>"):
        assert is_name(name)
        assert readable(name) == name


@pytest.mark.parametrize("place", BIDI_CONTROL)
def test_marks_of_direction_are_left_out_where_text_is_shown(place):
    told = f"gauge {chr(place)}G1 reads 6 % high"
    assert readable(told) == clean(told) == "gauge G1 reads 6 % high"


def test_lines_and_tabs_stay_and_other_controls_go():
    told = "".join(map(chr, CONTROLS))
    assert readable(f"a{told}b") == "a\t\n\rb"
    assert clean("a\u0085\x9b\x00b") == "ab"
