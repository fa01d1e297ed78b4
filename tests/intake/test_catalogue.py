"""Loading the catalogue: only what differs, all or nothing, history kept, units resolved afresh."""

from copy import deepcopy

import pytest
from django.apps import apps
from django.db import IntegrityError, connection, transaction

from registry.errors import Conflict, Invalid, SpansOverlap
from registry.intake.catalogue import load_catalogue
from registry.intake.receive import receive
from registry.models import PumpModel, Revision, Run, SerialSpan, Unit
from tests import community
from tests.declared import CATALOGUE, MODEL, provenance
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


def test_revisions_can_change_places():
    def swap(entry):
        entry["revision"][0]["order"], entry["revision"][1]["order"] = 2, 1

    person = community.curator()
    load_catalogue(CATALOGUE, person)
    load_catalogue(changed(swap), person)
    assert list(Revision.objects.order_by("order").values_list("label", flat=True)) == ["B", "A"]


def test_two_revisions_at_one_place_are_a_conflict():
    with pytest.raises(Conflict):
        load_catalogue(changed(lambda e: e["revision"][1].update(order=1)), community.curator())


def test_a_model_is_one_whatever_its_capitals_and_never_moves_to_another_maker():
    person = community.curator()
    load_catalogue(CATALOGUE, person)
    load_catalogue(changed(lambda e: e.update(name="  larkspur   TWO ")), person)
    assert PumpModel.objects.get().name == MODEL
    with pytest.raises(Conflict, match="Brindlemoor"):
        load_catalogue(changed(lambda e: e.update(maker="Other Works")), person)


def test_new_schemes_replace_the_old_and_everything_follows(operator):
    run = receive(trace_bytes(), provenance(), operator).run
    pattern = r"(?P<plant>[A-Z])(?P<line>[A-Z])(?P<number>\d{6})"
    changes = load_catalogue(
        changed(lambda e: e.update(serial_scheme=[{"pattern": pattern, "order": ["number"]}])),
        community.curator(),
    )
    assert {"created", "removed"} <= actions(changes)
    run.unit.refresh_from_db()
    assert (run.unit.scheme.pattern, run.unit.series, run.unit.revision.label) == (pattern, "L/K", "A")
    assert set(SerialSpan.objects.values_list("scheme__pattern", flat=True)) == {pattern}


def test_a_scheme_that_no_longer_reads_a_stored_span_is_refused():
    person = community.curator()
    load_catalogue(CATALOGUE, person)
    declared = changed(lambda e: e.update(serial_scheme=[{"pattern": r"(?P<n>\d+)", "order": ["n"]}]))
    for revision in declared["pump_model"][0]["revision"]:
        del revision["span"]
    with pytest.raises(Invalid, match="LK000001 to LK004999"):
        load_catalogue(declared, person)


def test_overlap_is_seen_across_a_change_of_schemes():
    person = community.curator()
    load_catalogue(CATALOGUE, person)
    span = {"first": "LK004000", "last": "LK004100", "basis": "declared", "source": "letter"}

    def other_scheme(entry):
        entry["serial_scheme"] = [{"pattern": r"(?P<plant>[A-Z][A-Z])(?P<number>\d{6})", "order": ["number"]}]
        entry["revision"] = [{"label": "C", "order": 3, "span": [span]}]

    with pytest.raises(SpansOverlap):
        load_catalogue(changed(other_scheme), person)


def test_an_observed_span_holds_what_contradicts_it_too(operator):
    span = {"first": "LK009000", "last": "LK009100", "basis": "observed", "source": "bench notes"}
    load_catalogue(changed(lambda e: e["revision"][1]["span"].append(span)), community.curator())
    receipt = receive(trace_bytes(), provenance(serial="LK009050", revision="A"), operator)
    assert receipt.run.state == "held"
    assert "observed" in next(f.message for f in receipt.findings if f.severity == "hold")


def test_a_declared_span_outweighs_what_others_observed_there(operator):
    first = receive(trace_bytes(), provenance(serial="LK000100", revision="A"), operator).run
    span = {"first": "LK000001", "last": "LK000900", "basis": "observed", "source": "bench notes"}
    load_catalogue(changed(lambda e: e["revision"][1]["span"].append(span)), community.curator())
    second = receive(trace_bytes(seed=2), provenance(serial="LK000101", revision="A"), operator).run
    first.refresh_from_db()
    assert (first.state, second.state) == ("accepted", "accepted")


def test_an_observed_span_that_comes_later_holds_what_contradicts_it(operator):
    run = receive(trace_bytes(), provenance(serial="LK009050", revision="A"), operator).run
    span = {"first": "LK009000", "last": "LK009100", "basis": "observed", "source": "bench notes"}
    load_catalogue(changed(lambda e: e["revision"][1]["span"].append(span)), community.curator())
    run.refresh_from_db()
    assert run.state == "held"
    assert (run.unit.revision.label, run.unit.revision_basis) == ("B", "observed")


def test_a_caution_about_a_serial_goes_when_a_scheme_reads_it(operator):
    run = receive(trace_bytes(), provenance(serial="X-77"), operator).run
    assert run.findings.filter(code="serial_unread").exists()
    extra = {"pattern": r"X(?P<number>\d\d)", "order": ["number"]}
    load_catalogue(changed(lambda e: e["serial_scheme"].append(extra)), community.curator())
    assert not run.findings.filter(code="serial_unread").exists()
    run.unit.refresh_from_db()
    assert run.unit.key == 77


@pytest.mark.parametrize(
    ("double", "field"),
    [
        (lambda e: e["revision"].append({"label": "a", "order": 3}), "pump_model[0].revision[2]"),
        (lambda e: e["claim"].append({**e["claim"][0], "value": 1.0}), "pump_model[0].claim[1]"),
        (lambda e: e["serial_scheme"].append(e["serial_scheme"][0]), "pump_model[0].serial_scheme[1]"),
    ],
)
def test_a_declaration_that_says_one_thing_twice_is_refused(double, field):
    with pytest.raises(Invalid) as caught:
        load_catalogue(changed(double), community.curator())
    assert [fault.field for fault in caught.value.faults] == [field]


def test_where_corrections_are_to_be_confirmed_a_load_adds_and_corrects_nothing(settings):
    person = community.curator()
    load_catalogue(CATALOGUE, person)
    settings.VACUARY_CORRECTIONS_CONFIRMED = True

    def move(entry):
        entry["revision"][0]["span"][0]["last"] = "LK003999"

    with pytest.raises(Conflict, match="LK000001 to LK004999") as caught:
        load_catalogue(changed(move), person)
    assert "--propose" in caught.value.hint
    assert SerialSpan.objects.filter(last="LK004999").exists()
    more = {"first": "LK008000", "last": "LK008999", "basis": "declared", "source": "letter 2"}
    added = changed(lambda entry: entry["revision"][1]["span"].append(more))
    assert "created" in actions(load_catalogue(added, person))


def test_what_a_declaration_leaves_out_stays_and_what_it_empties_goes():
    person = community.curator()
    load_catalogue(CATALOGUE, person)

    def leave_out(entry):
        for name in ("serial_scheme", "claim"):
            del entry[name]
        for name in ("firmware", "marks", "span"):
            del entry["revision"][0][name]

    assert actions(load_catalogue(changed(leave_out), person)) == {"unchanged"}
    load_catalogue(changed(lambda e: e["revision"][0].update(firmware=[], marks={})), person)
    found = Revision.objects.get(label="A")
    assert (found.firmware, found.marks) == ([], {})
