"""What people see of benches compared."""

import pytest

from client_cli.render.benches import show_benches
from tests.client_cli import compared
from tests.client_cli.benched import BENCHES, SCORED, sent
from tests.client_cli.test_rendering import fits, seen, words


def every(console, document):
    show_benches(console, document, every=True)


@pytest.mark.parametrize("width", [80, 100, 200])
@pytest.mark.parametrize("show", [show_benches, every])
def test_the_answer_fits_and_begins_with_plain_words(show, width):
    shown = fits(seen(show, BENCHES, width=width), width)
    assert words(shown).startswith(words(BENCHES["says"]))
    assert words(f"Caution: {compared.CAUTION}") in words(shown)


def row_of(shown, start):
    (line,) = [line for line in shown.splitlines() if line.startswith(start)]
    return line.split()


def test_offsets_show_the_own_bench_and_its_gauges_first():
    shown = seen(show_benches, BENCHES, width=160)
    order = [shown.index(bench) for bench in ("harbour (yours)", "gauge HB-1", "gauge HB-2", "clinic LM5TWB")]
    assert order == sorted(order)
    assert row_of(shown, "clinic LM5TWB")[2:] == ["+8.3", "6.3", "to", "10.3", "+4.2", "action", "9", "6"]
    assert row_of(shown, "gauge HB-1")[2:] == ["0.0", "-2.0", "to", "2.0", "0.0", "acceptable", "9", "6"]
    assert words("thin: needs 1 more unit, 1 more clinic") in words(shown)
    assert shown.count("beyond declared") >= 1


def test_marks_are_told_in_words():
    shown = words(seen(show_benches, BENCHES))
    for told in (
        "Benches differ by 2.3 % in vacuum (standard deviation)",
        "Warning: up to 3, worth a look. Action: find the cause before you record on.",
        "E_n of 1 and more, further off than the gauge's declared accuracy covers",
    ):
        assert words(told) in shown, told


def test_a_round_shows_the_own_score_and_what_needs_looking_at():
    document = {**BENCHES, "benches": [], "rounds": [sent("LK000001")]}
    shown = seen(show_benches, document, width=160)
    for told in (
        "Pellomi LK000001 went round 4 clinics, 2026-01-05 to 2026-02-17",
        "187.0 ± 1.0",
        "harbour (yours)",
        "189.29",
        "z' +0.6",
        "clinic QQ7AAA",
        "z' -2.4",
        "2 others",
        "1 beyond declared",
    ):
        assert told in shown, told
    assert "RR2BBB" not in shown
    assert "clinic RR2BBB" in seen(every, document, width=160)


def test_where_nobody_is_named_all_that_is_well_is_one_line():
    well = [{**one, "own": False, "reads": "acceptable"} for one in SCORED["scores"]]
    settings = [{**SCORED, "scores": well}]
    document = {**BENCHES, "benches": [], "rounds": [sent("LK000001", settings=settings)]}
    shown = seen(show_benches, document, width=160)
    assert "all 4" in shown
    assert "QQ7AAA" not in shown


def test_earlier_rounds_are_counted_and_shown_when_asked_for():
    shown = " ".join(seen(show_benches, BENCHES).split())
    assert "LK000005" in shown
    assert "LK000006" not in shown
    assert "2 earlier rounds are not shown. --all shows every score." in shown
    assert "LK000007" in seen(every, BENCHES)


def test_nothing_to_compare_is_its_line_alone():
    says = "No bench can be compared yet; 0 units went round."
    assert seen(show_benches, {"says": says, "benches": [], "rounds": []}).strip() == says


def test_benches_asks_with_the_words_of_the_contract(vacuary, filled):
    assert vacuary("benches").code == 0
    assert (filled.asked[-1].path, filled.asked[-1].query) == ("benches", {})
