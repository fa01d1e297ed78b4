"""What people see of comparisons, and what is asked of the server for them."""

from functools import partial

import pytest

from client_cli.render.claims import show_claims
from client_cli.render.comparisons import show_comparison
from client_cli.render.matches import show_settings
from client_cli.render.swaps import show_swap
from tests.client_cli import compared
from tests.client_cli.test_rendering import fits, seen, words

SWAPPED = "Units: old with old part 6, old with new part 4, new with old part 4, new with new part 6."
SHOWN = {
    "comparison": (show_comparison, compared.COMPARISON),
    "swap": (show_swap, compared.SWAP),
    "settings": (show_settings, compared.SETTINGS),
    "like": (show_settings, compared.LIKE),
    "claims": (show_claims, compared.CLAIMS),
}


@pytest.mark.parametrize("width", [80, 100, 200])
@pytest.mark.parametrize("name", SHOWN)
def test_every_answer_fits_and_begins_with_plain_words(name, width):
    show, document = SHOWN[name]
    shown = fits(seen(show, document, width=width), width)
    assert words(shown).startswith(words(document["says"]))
    assert words(f"Caution: {compared.CAUTION}") in words(shown)


def test_a_comparison_shows_both_values_the_interval_and_the_verdict():
    shown = words(seen(show_comparison, compared.COMPARISON, width=200))
    for told in (
        "72.0",
        "64.8",
        "-7.2",
        "-8.7 to -5.7",
        "-10.0",
        "12 units",
        "different",
        "crosses 70 (not sure)",
    ):
        assert words(told) in shown, told
    assert words("needs 14 more units of each at 4 clinics") in shown
    assert words("more units alone would not tell soon") in shown
    assert words("1 set aside") in shown
    assert words("no interval") in shown
    assert words("expression soft level 5: 64.8 at 238 mmHg") in shown
    assert words("not measured") in shown
    assert words("revision B was not measured there") in shown


def test_settings_that_differ_by_side_rig_or_air_alone_are_told_apart():
    reach = [
        {**compared.AT, "rig": rig, "elevation": band, "side": side, "rate": 74.0, "vacuum": 156.0,
         "reached": None, "sure": False, "with": None}
        for rig, band, side in (
            ("flat / 24 mm", "below 500 m", "left"),
            ("flat / 24 mm", "above 1500 m", "left"),
            ("domed / 24 mm", "below 500 m", "right"),
        )
    ]  # fmt: skip
    shown = words(seen(show_comparison, {**compared.COMPARISON, "reach": reach}, width=200))
    for told in ("flat / below 500 m", "flat / above 1500 m", "domed / below 500 m", "left side"):
        assert words(told) in shown, told
    sides = [compared.match(side=side) for side in ("left", "right")]
    assert words("right side") in words(seen(show_settings, {**compared.SETTINGS, "settings": sides}))
    claim = {**compared.CLAIM, "setting": {**compared.CLAIM["setting"], "side": "left"}}
    assert words("left side") in words(seen(show_claims, {**compared.CLAIMS, "claims": [claim]}))


def test_compare_asks_with_the_words_of_the_contract(vacuary, filled):
    ran = vacuary("compare", "Pellomi", "A", "unit:LK000123", "--metric", "all", "--rate-margin", "4")
    assert ran.code == 0
    assert filled.asked[-1].path == "comparisons"
    assert filled.asked[-1].query == {
        "model": "Pellomi", "old": "A", "new": "unit:LK000123", "metric": "all", "rate_margin": "4",
    }  # fmt: skip


def test_a_swap_shows_all_shares_and_the_runs_that_are_missing():
    shown = words(seen(show_swap, compared.SWAP, width=200))
    for told in (
        "-15.0",
        "-16.6 to -13.4",
        "-7.5 %",
        "-9.0",
        "-6.0",
        "-2.0",
        SWAPPED,
    ):
        assert words(told) in shown, told
    assert words("Record revision A with protector domed at expression soft 6 on mains.") in shown


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [("unit LK1", "revision A", True), ("unit LK1", "unit LK2", False), ("revision A", "revision B", False)],
)
def test_one_pump_against_its_build_comes_with_how_far_sound_pumps_differ(old, new, told):
    shown = words(seen(show_comparison, {**compared.COMPARISON, "old": old, "new": new}))
    assert (words("sound pumps of one build differ as well") in shown) == told


def test_one_value_alone_is_not_called_all_of_them():
    shown = words(seen(show_comparison, {**compared.COMPARISON, "family": 1}))
    assert words("The interval holds at 95 %.") in shown
    assert words("all 1 values") not in shown


def test_of_many_missing_runs_those_that_complete_a_setting_soonest_are_shown():
    one = compared.SWAP["missing"][0]
    rows = [{**one, "level": str(1 + k // 2), "says": f"Record run {k}."} for k in range(8)]
    rows.append({**one, "level": "9", "says": "Record the last one."})
    document = {**compared.SWAP, "missing": rows}
    few, whole = seen(show_swap, document), seen(partial(show_swap, every=True), document)
    assert few.index("Record the last one.") < few.index("Record run 0.")
    assert few.count("- Record") == 6
    assert "3 more are not shown; --all shows them." in few
    assert whole.count("- Record") == 9


def test_swap_asks_with_the_words_of_the_contract(vacuary, filled):
    ran = vacuary("swap", "Pellomi", "A", "B", "--part", "protector", "--old-part", "flat", "--level", "5")
    assert ran.code == 0
    assert filled.asked[-1].path == "part-swaps"
    assert filled.asked[-1].query == {
        "model": "Pellomi", "old": "A", "new": "B", "part": "protector", "old_part": "flat", "level": "5",
    }  # fmt: skip
    assert vacuary("swap", "Pellomi", "A", "B").code == 2


def test_settings_show_how_likely_or_how_far():
    shown = words(seen(show_settings, compared.SETTINGS, width=200))
    for told in (
        "87 %",
        "cycle_rate 72",
        "next 69 to 76",
        "not known",
        "thin: needs 2 more units 1 more clinic",
        "7 less likely settings",
    ):
        assert words(told) in shown, told
    far = words(seen(show_settings, compared.LIKE, width=200))
    for told in ("1.8", "peak_vacuum 238.3", "+18 (+1.8 margins)", "Margins away", "other protector"):
        assert words(told) in far, told


def test_settings_ask_with_the_words_of_the_contract(vacuary, filled):
    asked = ("--rate", "70..", "--vacuum", "200..240", "--need", "duty_factor=..0.6", "--revision", "B")
    assert vacuary("settings", "Pellomi", *asked).code == 0
    assert filled.asked[-1].path == "settings-matches"
    assert filled.asked[-1].query == {
        "model": "Pellomi", "rate": "70..", "vacuum": "200..240", "duty_factor": "..0.6", "revision": "B",
    }  # fmt: skip
    asked = ("--like", "A:expression:5", "--like-model", "Pellomi", "--most", "40")
    assert vacuary("settings", *asked).code == 0
    assert filled.asked[-1].query == {"like": "A:expression:5", "like_model": "Pellomi", "most": "40"}
    wrong = vacuary("settings", "Pellomi", "--need", "fast")
    assert wrong.code == 2
    assert "METRIC=RANGE" in wrong.err


def test_claims_show_the_verdict_with_its_risk_and_who_entered_them(vacuary, filled):
    shown = words(seen(show_claims, compared.CLAIMS, width=200))
    for told in (
        "at least 250 mmHg",
        "leaflet, 2025",
        "entered by harbour 2025-03-02",
        "241",
        "236 to 246",
        "8 %",
    ):
        assert words(told) in shown, told
    for told in ("not upheld", "risk below 0.1 %", "same as before", "against A", "undecided"):
        assert words(told) in shown, told
    assert vacuary("claims", "Pellomi", "--revision", "B", "--elevation", "620").code == 0
    assert (filled.asked[-1].path, filled.asked[-1].query) == (
        "claims",
        {"model": "Pellomi", "revision": "B", "elevation": "620"},
    )
