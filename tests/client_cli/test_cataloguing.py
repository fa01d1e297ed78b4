"""Serials, corrections and the catalogue's history: what is sent, and what a person sees of the answer."""

import pytest

from client_cli.render import proposals, serials
from tests.client_cli import catalogued
from tests.client_cli.test_rendering import fits, seen, words

SHOWN = {
    "serials": (serials.show_serials, catalogued.SERIALS),
    "proposal": (proposals.show_proposal, catalogued.PROPOSAL),
    "confirmed": (proposals.show_proposal, catalogued.CONFIRMED),
    "proposed": (proposals.show_proposed, {"results": [catalogued.PROPOSAL]}),
    "proposals": (proposals.show_proposals, {"results": [catalogued.PROPOSAL, catalogued.REJECTED]}),
    "history": (proposals.show_history, catalogued.HISTORY),
}


@pytest.mark.parametrize("width", [60, 80, 120])
@pytest.mark.parametrize("name", SHOWN)
def test_every_answer_fits(name, width):
    fits(seen(*SHOWN[name], width=width), width)


def test_serials_show_basis_counts_and_conflicts():
    shown = seen(serials.show_serials, catalogued.SERIALS)
    assert "unknown" in shown
    assert "99 %" in shown
    assert words("clinic harbour saw revision A on LK007123")[:6] in words(shown)
    assert "LK007123" in shown


def test_serials_tell_how_they_were_read_when_made_when_seen_and_what_is_missing():
    shown = " ".join(seen(serials.show_serials, catalogued.SERIALS).split())
    assert "Typed lk 0OOOO1 - 9999, read as LK000001 to LK009999: read in capitals" in shown
    assert "By the serial, made: week 10 of 2024 (year by declared base), plant LK." in shown
    assert "2025-03-02" in shown
    assert "all: 94 %" in shown
    assert "LK005000 to LK005499: somewhere here A becomes B" in shown


def test_a_serial_typed_as_it_is_needs_no_explaining():
    plain = {**catalogued.SERIALS, "understood": {"typed": "LK1", "changes": []}, "made": None, "plant": None}
    assert "Typed" not in seen(serials.show_serials, plain)


@pytest.mark.parametrize(
    ("excluded", "extent"),
    [
        ((False, False), "LK1\nto LK9"),
        ((True, False), "after LK1\nto LK9"),
        ((False, True), "LK1\nbefore LK9"),
        ((True, True), "after LK1\nbefore LK9"),
    ],
)
def test_an_end_that_belongs_to_the_next_span_is_not_counted_in(excluded, extent):
    span = {"first": "LK1", "last": "LK9", "first_excluded": excluded[0], "last_excluded": excluded[1]}
    assert serials.extent(span) == extent


def test_one_serial_is_shown_once():
    assert serials.extent({"first": "LK1", "last": "LK1", "first_excluded": False}) == "LK1"


@pytest.mark.parametrize(
    ("arguments", "document"),
    [
        (["propose", "CATALOGUE", "--why", "letter 2"], {"results": [catalogued.PROPOSAL]}),
        (["load", "CATALOGUE", "--propose", "--why", "letter 2"], {"results": [catalogued.PROPOSAL]}),
        (["proposals", "--state", "open"], {"results": [catalogued.PROPOSAL], "next": None}),
        (["proposal", "12"], catalogued.PROPOSAL),
        (["confirm", "12"], catalogued.CONFIRMED),
        (["reject", "12", "--reason", "older"], catalogued.REJECTED),
        (["history", "Pellomi", "--rows", "1"], catalogued.HISTORY),
    ],
    ids=lambda value: value[0] if isinstance(value, list) else "",
)
def test_json_prints_the_server_s_document_alone(vacuary, filled, catalogue, arguments, document):
    asked = [str(catalogue) if argument == "CATALOGUE" else argument for argument in arguments]
    ran = vacuary("catalogue", *asked, "--json")
    assert ran.json == document
    assert ran.err == ""


def test_proposing_a_file_needs_a_reason(vacuary, filled, catalogue):
    ran = vacuary("catalogue", "load", str(catalogue), "--propose")
    assert ran.code == 2
    assert "--why" in ran.err


def test_a_proposal_tells_what_it_would_change_and_who_confirms_it():
    shown = " ".join(seen(*SHOWN["proposal"]).split())
    assert "Proposal 12 for Pellomi: the maker corrected its letter" in shown
    assert "Open, proposed by harbour/gull; the catalogue has changed since." in shown
    assert "What it would change" in shown
    assert "2 units from revision A to no known revision" in shown
    assert "vacuary catalogue confirm 12" in shown


def test_a_decided_proposal_tells_by_whom_and_why():
    assert "decided by upland/tern" in seen(*SHOWN["confirmed"])
    assert "What it changed" in seen(*SHOWN["confirmed"])
    rejected = seen(proposals.show_proposal, catalogued.REJECTED)
    assert "the letter is older" in rejected
    assert "vacuary catalogue confirm" not in rejected


def test_a_stale_proposal_says_why_it_applies_no_more():
    stale = {**catalogued.PROPOSAL, "stale": "No declared span LK1 to LK2 of revision A is stored"}
    assert "does not apply any more: No declared span" in seen(proposals.show_proposal, stale)


def test_the_history_is_told_in_words_and_says_when_there_is_more():
    shown = " ".join(seen(*SHOWN["history"]).split())
    assert "2026-01-05 09:30" in shown
    assert "--rows" in shown
