"""`vacuary explain`: what is asked of the server, and that nothing unjudged is shown as fine."""

import pytest

from client_cli.render.explained import show_explanation
from tests.client_cli.test_rendering import seen, words

DOCUMENT = {
    "unit": {"pump_model": "Pellomi", "serial": "LK000123"},
    "rules": [
        {
            "rule": "gauge_off", "rule_version": 2, "subject": {"gauge": "harbour/G1"},
            "outcome": "alert", "alert": 3, "says": "Gauge harbour/G1 reads 8 % high.", "lacks": "",
            "why": ["8 % apart; 4 % matters"], "p": 1e-5, "q": 0.002, "evidence": {},
            "looked_at": "2026-02-20T08:00:00Z",
        },
        {
            "rule": "unit_off", "rule_version": 2, "subject": {"unit": "Pellomi/LK000123"},
            "outcome": "not enough data", "alert": None, "says": "Pellomi LK000123 cannot be judged.",
            "lacks": "needs 2 more clinics", "why": [], "p": None, "q": None, "evidence": {},
            "looked_at": "2026-02-20T08:00:00Z",
        },
        {
            "rule": "later_rule", "rule_version": 1, "subject": {"pump_model": "Pellomi"},
            "outcome": "something this client does not know", "alert": None, "says": "Who knows.",
            "lacks": "", "why": [], "p": None, "q": None, "evidence": {}, "looked_at": None,
        },
    ],
    "notes": [],
    "says": "Judgements: 1 with an alert, 1 without enough data to judge.",
    "cautions": ["Never open a pump that a person will use."],
}  # fmt: skip


@pytest.mark.parametrize(
    ("given", "asked"),
    [
        (["1234"], {"run": "1234"}),
        (["Pellomi", "LK000123"], {"model": "Pellomi", "serial": "LK000123"}),
        (["--gauge", "harbour/G1"], {"gauge": "harbour/G1"}),
    ],
)
def test_a_run_a_unit_or_a_gauge_is_asked_about(vacuary, registry, given, asked):
    registry.answers["GET", "explanations"] = (200, DOCUMENT)
    ran = vacuary("explain", *given)
    assert ran.code == 0
    assert registry.asked[-1].query == asked
    assert vacuary("explain", *given, "--json").json == DOCUMENT


@pytest.mark.parametrize("wrong", [[], ["Pellomi"], ["1234", "--gauge", "a/b"], ["a", "b", "--gauge", "c/d"]])
def test_anything_else_is_a_usage_error_and_nothing_is_sent(vacuary, registry, wrong):
    assert vacuary("explain", *wrong).code == 2
    assert not registry.asked


def test_what_is_missing_is_shown_and_nothing_unjudged_looks_fine():
    shown = words(seen(show_explanation, DOCUMENT, width=160))
    for told in (
        "alert (alert 3)",
        "8 % apart",
        "needs 2 more clinics",
        "not enough data",
        "Never open a pump",
    ):
        assert words(told) in shown
    assert words("nothing stands out") not in shown
    assert words("something this client does not know") in shown


def test_a_very_small_share_of_false_ones_is_told_without_powers_of_ten():
    rare = {**DOCUMENT["rules"][0], "q": 1.4e-7}
    shown = words(seen(show_explanation, {**DOCUMENT, "rules": [rare]}, width=80))
    assert words("share of false ones: below 1 %") in shown
    assert "e-07" not in shown


def test_nothing_is_cut_or_broken_within_a_name_in_eighty_columns():
    long = {**DOCUMENT["rules"][0], "rule": "unlisted_revision", "subject": {"unit": "Pellomi/LK000123456"}}
    shown = seen(show_explanation, {**DOCUMENT, "rules": [long]}, width=80)
    assert all(len(line) <= 80 for line in shown.splitlines())
    for whole in ("unlisted_revision 2", "Pellomi/LK000123456", "8 % apart; 4 % matters"):
        assert whole in shown
