"""Corrections beside other writers, and what answers make of them, on a database that really commits."""

from typing import Any

import pytest
from django.utils import timezone

from registry.answers.comparing.comparisons import answer_comparison
from registry.answers.distributions.answer import answer_distributions
from registry.answers.serials.answer import answer_serials
from registry.errors import Conflict
from registry.intake.catalogue import load_catalogue
from registry.intake.enrol import enrol
from registry.intake.proposals import confirm, propose
from registry.intake.receive import receive
from registry.models import Operator, Run, SerialSpan, Unit
from tests import community, factories
from tests.declared import CATALOGUE, MODEL, provenance
from tests.intake.test_at_once import at_once, check_summaries
from tests.intake.test_proposals import MOVED, upload
from tests.traces import trace_bytes

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def operator() -> Operator:
    """An operator on a database that really commits."""
    factories.edition()
    community.catalogue()
    return community.operator()


def curators(number: int) -> list[Operator]:
    return [enrol("brackwater", f"fennel{n}", curator=True)[0] for n in range(number)]


def test_answers_follow_and_the_old_ones_can_be_made_again(operator):
    first, second = curators(2)
    for number in range(3):
        upload(operator, f"LK00010{number}", seed=number)
        upload(operator, f"LK00450{number}", seed=10 + number)
    then = timezone.now()
    asked = {"mode": "expression", "level": "3", "metric": "peak_vacuum"}
    old = answer_distributions(MODEL, **asked)
    assert [(cell["revision"], cell["units"]) for cell in old["cells"]] == [("A", 6)]
    assert answer_comparison(MODEL, "A", "B")["settings"] == []
    confirm(propose(first, MODEL, MOVED).pk, second)
    new = answer_distributions(MODEL, **asked)
    assert [(cell["revision"], cell["units"]) for cell in new["cells"]] == [("A", 3), ("B", 3)]
    assert answer_comparison(MODEL, "A", "B")["settings"]
    again = answer_distributions(MODEL, **asked, as_of=then)
    assert again["cells"] == old["cells"]
    assert answer_serials(MODEL, "LK004500")["spans"][0]["revision"] == "B"


def test_two_curators_confirm_at_once_and_one_of_them_did(operator):
    run = upload(operator, "LK004500")
    first, *others = curators(5)
    proposal = propose(first, MODEL, MOVED)

    def attempt(person: Operator) -> Any:
        try:
            return confirm(proposal.pk, person).decided_by
        except Conflict as refused:
            return str(refused)

    outcomes = at_once(*(lambda person=person: attempt(person) for person in others))
    (winner,) = (outcome for outcome in outcomes if isinstance(outcome, Operator))
    refused = f"Proposal {proposal.pk} is confirmed already, by {winner.handle}"
    assert sorted(map(str, outcomes)) == sorted([winner.handle, *[refused] * 3])
    assert SerialSpan.objects.count() == 2
    assert Unit.objects.get(pk=run.unit_id).revision.label == "B"
    check_summaries()


def test_uploads_during_a_confirmation_go_by_the_corrected_spans(operator):
    first, second = curators(2)
    proposal = propose(first, MODEL, MOVED)
    at_once(
        *(
            lambda n=n: receive(
                trace_bytes(seed=n), provenance(serial=f"LK00450{n}", revision="AB"[n % 2]), operator
            )
            for n in range(6)
        ),
        lambda: confirm(proposal.pk, second),
    )
    assert {unit.revision.label for unit in Unit.objects.select_related("revision")} == {"B"}
    states = {run.asserted.label: run.state for run in Run.objects.select_related("asserted")}
    assert states == {"A": "held", "B": "accepted"}
    check_summaries()


def test_a_load_and_a_confirmation_at_once_leave_one_of_the_two_catalogues(operator):
    first, second = curators(2)
    proposal = propose(first, MODEL, MOVED)
    at_once(lambda: confirm(proposal.pk, second), lambda: load_catalogue(CATALOGUE, first))
    lasts = set(SerialSpan.objects.filter(revision__label="A").values_list("last", flat=True))
    assert lasts in ({"LK003999"}, {"LK004999"})
