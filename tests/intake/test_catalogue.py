"""Loading the catalogue: only what differs, all or nothing, history kept, units resolved afresh."""

from copy import deepcopy

import pytest
from django.apps import apps
from django.db import IntegrityError, connection, transaction

from registry.errors import Invalid, SpansOverlap
from registry.intake.catalogue import load_catalogue
from registry.intake.receive import receive
from registry.models import Revision, Run, SerialSpan, Unit
from tests import community
from tests.declared import CATALOGUE, provenance
from tests.traces import trace_bytes

pytestmark = pytest.mark.django_db


def actions(changes):
    return {change.action for change in changes}


def changed(edit):
    declared = deepcopy(CATALOGUE)
    edit(declared["pump_model"][0])
    return declared


def test_loading_again_changes_nothing():
    person = community.curator()
    assert actions(load_catalogue(CATALOGUE, person)) == {"created"}
    assert actions(load_catalogue(CATALOGUE, person)) == {"unchanged"}


def test_a_moved_border_replaces_both_spans_and_resolves_units(operator):
    run = receive(trace_bytes(), provenance(serial="LK004500"), operator).run
    assert run.unit.revision.label == "A"

    def move(entry):
        entry["revision"][0]["span"][0]["last"] = "LK003999"
        entry["revision"][1]["span"][0]["first"] = "LK004000"

    load_catalogue(changed(move), community.curator())
    assert Unit.objects.get(pk=run.unit_id).revision.label == "B"
    assert SerialSpan.objects.count() == 2


def test_a_held_run_is_set_free_when_the_span_is_corrected(operator):
    run = receive(trace_bytes(), provenance(serial="LK004500", revision="B"), operator).run
    assert run.state == "held"

    def move(entry):
        entry["revision"][0]["span"][0]["last"] = "LK003999"
        entry["revision"][1]["span"][0]["first"] = "LK004000"

    load_catalogue(changed(move), community.curator())
    assert Run.objects.get(pk=run.pk).state == "accepted"


def test_an_accepted_run_is_held_when_a_new_span_contradicts_it(operator):
    run = receive(trace_bytes(), provenance(serial="LK009000", revision="A"), operator).run
    assert run.state == "accepted"
    load_catalogue(
        changed(lambda entry: entry["revision"][1]["span"][0].update(last="LK009999")), community.curator()
    )
    run.refresh_from_db()
    assert run.state == "held"
    assert run.findings.filter(code="revision_contradicts_span").exists()


def test_overlapping_declared_spans_are_refused_and_nothing_is_kept():
    def overlap(entry):
        entry["revision"][1]["span"][0]["first"] = "LK004999"

    with pytest.raises(SpansOverlap, match="LK000001 to LK004999"):
        load_catalogue(changed(overlap), community.curator())
    assert not Revision.objects.exists()


def checked(span):
    """Store the span, and let the database check it at once."""
    with transaction.atomic():
        span.save(force_insert=True)
        connection.check_constraints()


def test_the_database_itself_holds_declared_spans_apart(operator):
    span = SerialSpan.objects.get(first="LK000001")
    span.pk, span.last = None, "LK004000"
    with pytest.raises(IntegrityError, match="declared_spans_apart"):
        checked(span)


@pytest.mark.parametrize(
    ("first", "last", "says"),
    [
        ("LK000001", "MX000009", "does not order"),
        ("LK000009", "LK000001", "after last"),
        ("?", "LK000001", "first fits none"),
    ],
)
def test_spans_that_cannot_be(first, last, says):
    def spoil(entry):
        entry["revision"][0]["span"][0] |= {"first": first, "last": last}

    with pytest.raises(Invalid, match=says) as caught:
        load_catalogue(changed(spoil), community.curator())
    assert caught.value.faults[0].field == "pump_model[0].revision[0].span[0]"


def test_history_keeps_what_was_and_who_changed_it():
    person = community.curator()
    load_catalogue(CATALOGUE, person)
    load_catalogue(changed(lambda e: e["revision"][0]["marks"].update(housing="red")), person)
    events = apps.get_model("registry", "RevisionEvent").objects.filter(label="A").order_by("pgh_id")
    assert [event.marks["housing"] for event in events] == ["amber", "red"]
    assert events[1].pgh_context.metadata["operator"] == person.handle
