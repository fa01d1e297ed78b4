"""Colours of the pages against the contrast that WCAG 2.1, success criterion 1.4.3, asks of text: 4.5 to 1.

The formula of relative luminance (WCAG 2.1, "relative luminance") is written from memory.
"""

import re
from pathlib import Path

import pytest

SHEET = (Path(__file__).parents[2] / "registry/pages/style.css").read_text(encoding="utf-8")
LIGHT, DARK = (
    dict(re.findall(r"--([\w-]+): (#[0-9a-f]{3,6})", block))
    for block in re.findall(r":root \{(.*?)\}", SHEET, re.S)[:2]
)
PAIRS = [
    *[(text, ground) for text in ("ink", "soft", "link") for ground in ("paper", "card")],
    *[(text, "card") for text in ("note", "caution", "urgent")],
    ("urgent", "paper"),
    ("on-plum", "plum"),
]


def luminance(colour: str) -> float:
    digits = colour[1:] if len(colour) == 7 else "".join(2 * digit for digit in colour[1:])
    parts = [int(digits[n : n + 2], 16) / 255 for n in (0, 2, 4)]
    red, green, blue = (
        part / 12.92 if part <= 0.03928 else ((part + 0.055) / 1.055) ** 2.4 for part in parts
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    dark, light = sorted((luminance(one), luminance(other)))
    return (light + 0.05) / (dark + 0.05)


def test_black_on_white_is_21_to_1():
    assert contrast("#000", "#ffffff") == pytest.approx(21)


@pytest.mark.parametrize("scheme", [LIGHT, {**LIGHT, **DARK}], ids=["light", "dark"])
@pytest.mark.parametrize(("text", "ground"), PAIRS)
def test_text_stands_out_from_its_ground(scheme, text, ground):
    assert contrast(scheme[text], scheme[ground]) >= 4.5
