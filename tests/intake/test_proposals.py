"""Corrections: one curator proposes, another confirms; answers follow, and old ones can be made again."""

from copy import deepcopy
from typing import Any

import pytest
from django.db import IntegrityError, transaction
from django.utils import timezone

from registry.errors import Conflict, Invalid, NotFound, NotPermitted, ProposalStale, SpansOverlap
from registry.intake.catalogue import load_catalogue
from registry.intake.differences import propose_differences
from registry.intake.enrol import enrol
from registry.intake.proposals import confirm, foresee, propose, reject
from registry.intake.receive import receive
from registry.models import Operator, Proposal, PumpModel, Revision, Run, SerialSpan, Unit
from tests import community
from tests.declared import CATALOGUE, MODEL, provenance
from tests.traces import trace_bytes

pytestmark = pytest.mark.django_db

MOVED: dict[str, Any] = {
    "spans": [
        {"revision": "A", "first": "LK000001", "last": "LK003999", "basis": "declared", "source": "letter 2"},
        {"revision": "B", "first": "LK004000", "last": "LK007999", "basis": "declared", "source": "letter 2"},
    ],
    "dropped_spans": [
        {"revision": "A", "first": "LK000001", "last": "LK004999", "basis": "declared"},
        {"revision": "B", "first": "LK005000", "last": "LK007999", "basis": "declared"},
    ],
    "why": "the maker corrected its letter",
}


@pytest.fixture
def first(db) -> Operator:
    person = community.curator()
    load_catalogue(CATALOGUE, person)
    return person


@pytest.fixture
def second(db) -> Operator:
    return enrol("brackwater", "fennel", curator=True)[0]


def upload(operator: Operator, serial: str, seed: int = 1, **said: Any) -> Run:
    return receive(trace_bytes(seed=seed), provenance(serial=serial, **said), operator).run


def spans() -> set[str]:
    return {f"{span} {span.revision.label}" for span in SerialSpan.objects.select_related("revision")}


def test_nothing_changes_until_another_curator_confirms(operator, first, second):
    run = upload(operator, "LK004500")
    before = spans()
    proposal = propose(first, MODEL, MOVED)
    assert spans() == before
    assert Unit.objects.get(pk=run.unit_id).revision.label == "A"
    confirm(proposal.pk, second)
    assert spans() == {"LK000001 to LK003999 A", "LK004000 to LK007999 B"}
    assert Unit.objects.get(pk=run.unit_id).revision.label == "B"
    assert {span.said_by for span in SerialSpan.objects.all()} == {first}


def test_it_foresees_what_confirming_then_does(operator, first, second):
    upload(operator, "LK004500")
    upload(operator, "LK004700", seed=2, revision="B")  # held: stands against the span
    proposal = propose(first, MODEL, MOVED)
    assert proposal.foreseen["units"] == [
        {"was": "A", "now": "B", "units": 2, "first": "LK004500", "last": "LK004700"}
    ]
    assert proposal.foreseen["runs"] == [{"was": "held", "now": "accepted", "runs": 1}]
    assert proposal.foreseen["says"] == (
        "2 units from revision A to revision B (LK004500 to LK004700); 1 run held before, accepted now."
    )
    assert [change["action"] for change in proposal.foreseen["changes"]] == ["removed"] * 2 + ["created"] * 2
    assert confirm(proposal.pk, second).done == proposal.foreseen


def test_what_it_foresees_follows_later_uploads(operator, first):
    proposal = propose(first, MODEL, MOVED)
    assert proposal.foreseen["units"] == []
    upload(operator, "LK004500")
    assert foresee(proposal)["units"][0]["units"] == 1
    assert Unit.objects.get().revision.label == "A"


def test_a_revision_that_was_found_comes_with_its_span(first, second):
    proposal = propose(
        first,
        MODEL,
        {
            "revisions": [{"label": "C", "marks": {"membrane": "ribbed"}}],
            "spans": [
                {
                    "revision": "C",
                    "first": "LK 008000",
                    "last": "lk008999",
                    "basis": "observed",
                    "source": "seen",
                }
            ],
            "why": "another membrane",
        },
    )
    assert not Revision.objects.filter(label="C").exists()
    confirm(proposal.pk, second)
    found = Revision.objects.get(label="C")
    assert (found.order, found.marks) == (3, {"membrane": "ribbed"})
    assert str(found.spans.get()) == "LK008000 to LK008999"


def test_an_observed_span_over_another_revision_is_told(first):
    observed = {"revision": "B", "first": "LK004000", "last": "LK005100", "basis": "observed", "source": "s"}
    told = propose(first, MODEL, {"spans": [observed], "why": "seen"}).foreseen["overlaps"]
    assert told == ["LK000001 to LK004999 (A, declared) lies over LK004000 to LK005100 (B, observed)"]


def test_whoever_proposed_it_cannot_confirm_it(first):
    proposal = propose(first, MODEL, MOVED)
    with pytest.raises(NotPermitted, match="cannot confirm"):
        confirm(proposal.pk, first)
    with pytest.raises(IntegrityError, match="confirmed_by_another"), transaction.atomic():
        Proposal.objects.filter(pk=proposal.pk).update(
            state="confirmed", decided_by=first, decided_at=timezone.now()
        )


def test_only_curators_take_part(operator, first):
    proposal = propose(first, MODEL, MOVED)
    for act in (
        lambda: propose(operator, MODEL, MOVED),
        lambda: confirm(proposal.pk, operator),
        lambda: reject(proposal.pk, operator, "no"),
    ):
        with pytest.raises(NotPermitted, match="curator"):
            act()


def test_a_proposal_is_decided_once(first, second):
    proposal = propose(first, MODEL, MOVED)
    with pytest.raises(Invalid, match="reason"):
        reject(proposal.pk, second, " ")
    assert reject(proposal.pk, first, "typed wrong").decided_why == "typed wrong"
    with pytest.raises(Conflict, match="rejected already, by elmsworth/sorrel"):
        confirm(proposal.pk, second)
    with pytest.raises(NotFound):
        confirm(proposal.pk + 1, second)


def test_confirming_twice_by_one_curator_is_once(first, second):
    proposal = propose(first, MODEL, MOVED)
    confirm(proposal.pk, second)
    version = PumpModel.objects.get().catalogue_version
    assert confirm(proposal.pk, second).state == "confirmed"
    assert PumpModel.objects.get().catalogue_version == version


def test_a_proposal_that_applies_no_more_says_so(first, second):
    proposal = propose(first, MODEL, MOVED)
    confirm(propose(first, MODEL, MOVED).pk, second)
    for act in (lambda: confirm(proposal.pk, second), lambda: foresee(proposal)):
        with pytest.raises(ProposalStale, match="No declared span LK000001 to LK004999 of revision A"):
            act()
    assert Proposal.objects.get(pk=proposal.pk).state == "open"


def test_a_proposal_outlives_changes_that_do_not_touch_it(first, second):
    proposal = propose(first, MODEL, MOVED)
    more = {"revision": "B", "first": "LK008000", "last": "LK008999", "basis": "declared", "source": "letter"}
    confirm(propose(first, MODEL, {"spans": [more], "why": "went on"}).pk, second)
    assert confirm(proposal.pk, second).state == "confirmed"


@pytest.mark.parametrize(
    ("change", "error", "says"),
    [
        ({"spans": MOVED["spans"], "why": "x"}, SpansOverlap, "overlap"),
        (
            {"dropped_spans": [{**MOVED["dropped_spans"][0], "last": "LK004998"}], "why": "x"},
            Conflict,
            "stored",
        ),
        ({"spans": [{**MOVED["spans"][0], "revision": "Z"}], "why": "x"}, Invalid, "no revision 'Z'"),
        ({"spans": [{**MOVED["spans"][0], "first": "?"}], "why": "x"}, Invalid, "first fits none"),
        ({**MOVED, "why": " "}, Invalid, "why"),
        ({"why": "nothing"}, Conflict, "says this already"),
        ({"revisions": [{"label": "A", "order": 1}], "why": "nothing"}, Conflict, "says this already"),
    ],
)
def test_what_cannot_be_proposed(first, change, error, says):
    with pytest.raises(error, match=says):
        propose(first, MODEL, change)
    assert not Proposal.objects.exists()


def test_schemes_can_be_corrected_and_units_find_their_places(operator, first, second):
    run = upload(operator, "LKX00123")
    assert Unit.objects.get(pk=run.unit_id).key is None
    schemes = [
        {"pattern": r"(?P<plant>[A-Z]{2})(?P<number>\d{6})", "order": ["number"], "plant": "plant"},
        {"pattern": r"(?P<plant>[A-Z]{2})X(?P<number>\d{5})", "order": ["number"]},
    ]
    confirm(propose(first, MODEL, {"schemes": schemes, "why": "a second form"}).pk, second)
    unit = Unit.objects.get(pk=run.unit_id)
    assert (unit.key, unit.series) == (123, "LK")
    assert not Run.objects.get(pk=run.pk).findings.filter(code="serial_unread").exists()


def test_a_span_that_cannot_be_is_named_by_its_place_and_its_serials(first):
    backwards = {**MOVED["spans"][1], "first": "LK007999", "last": "LK004000"}
    with pytest.raises(Invalid, match="LK007999 to LK004000: first comes after last") as caught:
        propose(first, MODEL, {**MOVED, "spans": [MOVED["spans"][0], backwards]})
    assert [fault.field for fault in caught.value.faults] == ["spans[1]"]


def unsaid() -> dict[str, Any]:
    """The catalogue with nothing said of firmware and marks."""
    left_out = deepcopy(CATALOGUE)
    for revision in left_out["pump_model"][0]["revision"]:
        for name in ("firmware", "marks"):
            revision.pop(name, None)
    return left_out


def test_what_a_file_leaves_out_is_not_proposed_away(first, second):
    with pytest.raises(Conflict, match="says all of this already"):
        propose_differences(first, unsaid(), "a shorter file")
    shorter = unsaid()
    shorter["pump_model"][0]["revision"][0]["order"] = 5
    (proposal,) = propose_differences(first, shorter, "another place")
    assert proposal.change == {"revisions": [{"label": "A", "order": 5}]}
    confirm(proposal.pk, second)
    found = Revision.objects.get(label="A")
    assert (found.order, found.firmware, found.marks) == (5, ["1.0"], {"housing": "amber"})


def test_what_a_file_empties_is_proposed_away(first, second):
    emptied = unsaid()
    emptied["pump_model"][0]["revision"][0] |= {"firmware": [], "marks": {}}
    (proposal,) = propose_differences(first, emptied, "both were of another model")
    confirm(proposal.pk, second)
    found = Revision.objects.get(label="A")
    assert (found.firmware, found.marks) == ([], {})
