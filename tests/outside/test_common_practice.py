"""Bands and limits that come from common practice, for which there is no published source, say so.

At 70 cycles/min and above let-down comes on more reliably across people, 60 to 70 usually serves, below 60
many do not respond: common practice, no published source.
"""

import inspect

import pytest

from registry.answers.comparing import practice
from registry.waveform import checks, uncertainty

SAID = "common practice, no published source"


@pytest.mark.parametrize("module", [practice, checks, uncertainty], ids=lambda module: module.__name__)
def test_what_no_source_is_known_for_says_so(module) -> None:
    # A docstring or comment may break the line anywhere.
    words = " ".join(inspect.getsource(module).replace("#", " ").split()).lower()
    assert SAID in words


@pytest.mark.parametrize(
    ("rate", "band"),
    [
        (45.0, "below 60"),
        (59.99, "below 60"),
        (60.0, "60 to 70"),
        (69.99, "60 to 70"),
        (70.0, "70 and above"),
        (120.0, "70 and above"),
    ],
)
def test_bands_of_the_cycle_rate(rate, band) -> None:
    assert practice.band(rate) == band
