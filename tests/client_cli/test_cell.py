"""One cell of a distribution looked at closely, and what an answer left out."""

from functools import partial

import pytest

from client_cli.render.distributions import show_distribution
from tests.client_cli.documents import LONG_RIG, cell
from tests.client_cli.test_rendering import fits, seen, words

INFLUENCE = [
    {"clinic": "clinic QQ7AAA", "units": 4, "runs": 9, "apart": 3.21, "weight": 0.25, "shift": -1.1},
    {"clinic": "harbour", "own": True, "units": 1, "runs": 2, "apart": -0.4, "weight": 0.125, "shift": None},
]
CLOSE = cell(
    "peak_vacuum",
    "mmHg",
    231.2,
    histogram={"edges": [220.0, 230.0, 240.0, 250.0], "counts": [3, 8, 0]},
    influence=INFLUENCE,
    reined_units=["LK000009"],
)
LEFT_OUT = {
    "held": 3,
    "withdrawn": 1,
    "held_for": {"too_short": 2, "leak": 1},
    "unknown_revision": {"runs": 4, "units": 2},
}
DOCUMENT = {"says": "One.", "cells": [CLOSE], "left_out": LEFT_OUT, "estimator": "centre: by weights."}


@pytest.mark.parametrize("width", [80, 200])
def test_all_of_it_fits(width):
    fits(seen(show_distribution, DOCUMENT, width=width), width)


def test_a_histogram_is_drawn_with_plain_characters():
    shown = seen(show_distribution, DOCUMENT, encoding="ascii").splitlines()
    assert "Unit means, mmHg" in shown
    assert "  220 to 230  ### 3" in shown
    assert "  230 to 240  ######## 8" in shown
    assert "  240 to 250" in [line.rstrip() for line in shown]


def test_many_units_are_drawn_within_the_line():
    many = {**CLOSE, "histogram": {"edges": [220.0, 230.0, 240.0], "counts": [1, 900]}}
    shown = fits(seen(show_distribution, {"cells": [many]}))
    assert f"{'#' * 40} 900" in shown
    assert "  220 to 230  # 1" in shown


def test_influence_says_what_the_centre_would_be_without_a_clinic():
    shown = words(seen(show_distribution, DOCUMENT, width=160))
    assert words("clinic QQ7AAA 4 units, 9 runs +3.2 25 % 230.1") in shown
    assert words("harbour (yours) 1 unit, 2 runs -0.4 12 % -") in shown
    assert words("What these units differ by themselves is in it; `vacuary benches` tells") in shown
    assert words("Drawn in because they stand far out: LK000009.") in shown
    assert words("Worked out so: centre: by weights.") in shown


@pytest.mark.parametrize(
    ("weights", "told"), [((0.98, 0.01, 0.01), True), ((0.4, 0.3, 0.3), False), ((0.9, 0.1), False)]
)
def test_a_centre_that_one_clinic_carries_is_told(weights, told):
    influence = [{**INFLUENCE[0], "weight": weight} for weight in weights]
    shown = words(seen(show_distribution, {"cells": [{**CLOSE, "influence": influence}]}))
    assert (words("One clinic carries 98 % of this centre") in shown) == told


def test_what_is_left_out_is_told_in_words():
    shown = " ".join(seen(show_distribution, DOCUMENT).split())
    assert (
        "Left out: 3 runs held (too short 2, leak 1); 1 run withdrawn; 4 runs of 2 units whose revision is "
        "not known." in shown
    )
    past = {**DOCUMENT, "left_out": {**LEFT_OUT, "held_for": None, "withdrawn": 0, "unknown_revision": {}}}
    assert "Left out: 3 runs held." in " ".join(seen(show_distribution, past).split())
    assert "Left out" not in seen(show_distribution, {"cells": [CLOSE], "left_out": {"held": 0}})


def test_of_several_cells_only_the_table_is_shown():
    shown = seen(show_distribution, {"cells": [CLOSE, {**CLOSE, "level": "6"}]})
    assert "###" not in shown
    assert "harbour" not in shown
    assert "Ask for one revision" in " ".join(shown.split())


def test_what_all_cells_were_measured_with_is_told_once():
    other = LONG_RIG.replace("two-chamber protector", "flat protector")
    shown = " ".join(seen(show_distribution, {"cells": [CLOSE, {**CLOSE, "rig": other}]}, width=200).split())
    assert "All with duckbill valve / silicone 6 mm / 24 mm / 30 mL / mains." in shown
    assert "Revision A, expression level 5, two-chamber protector" in shown
    assert "Revision A, expression level 5, flat protector" in shown
    unlike = seen(show_distribution, {"cells": [CLOSE, {**CLOSE, "rig": "none", "power": ""}]}, width=200)
    assert "All with" not in unlike
    assert f"Revision A, expression level 5, {LONG_RIG} / mains" in unlike


def test_a_model_with_many_settings_is_not_poured_out():
    many = {"cells": [{**CLOSE, "level": str(level)} for level in range(60)]}
    shown = words(seen(show_distribution, many))
    assert words("level 39") in shown
    assert words("level 40") not in shown
    assert words("20 further settings not shown") in shown
    whole = words(seen(partial(show_distribution, every=True), many))
    assert words("level 59") in whole
    assert words("not shown") not in whole
