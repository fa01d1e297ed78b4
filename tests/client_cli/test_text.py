"""Texts made safe for a terminal."""

import pytest

from client_cli.text import clean, nearest, one_line


@pytest.mark.parametrize(
    ("given", "shown"),
    [
        ("a\x1b[31mred\x1b[0m b", "ared b"),
        ("\x1b]0;title\x07name", "name"),
        ("\x1b]8;;http://x\x1b\\link\x1b]8;;\x1b\\", "link"),
        ("bell\x07 back\x08 null\x00", "bell back null"),
        ("two\nlines\tand\r\nmore", "two lines and more"),
        ("right\u202eto left", "rightto left"),
        ("\u2067a\u2069\u061cb\u200ec", "abc"),
        ("\x9b31mc1", "31mc1"),
        ("é ± 日本 [x]", "é ± 日本 [x]"),
        (7, "7"),
    ],
)
def test_only_printable_text_is_left(given, shown):
    assert clean(given) == shown


def test_nearest_names_come_whatever_their_case_and_never_at_random():
    known = ["Pellomi", "Tivanne", "Quessary"]
    assert nearest("pelomi", known) == ["Pellomi"]
    assert nearest("xyz", known) == []


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (None, "-"),
        ("", "-"),
        ([], "-"),
        ({}, "-"),
        (True, "yes"),
        (0, "0"),
        (0.1 + 0.2, "0.3"),
        ({"a": 1, "b": [1, None]}, "a 1, b 1, -"),
    ],
)
def test_any_value_in_one_line(value, text):
    assert one_line(value) == text
