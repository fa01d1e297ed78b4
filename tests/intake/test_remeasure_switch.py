"""One step from an edition to another: states, units, summaries and answers move together, and back."""

import time
from concurrent.futures import ThreadPoolExecutor

import pytest
from django.db import connection, transaction

from registry.answers.stamp import current_edition
from registry.errors import Conflict, NotMeasured, UnknownEdition
from registry.intake.measure import preview
from registry.intake.receive import receive
from registry.intake.remeasuring import switch as switching
from registry.intake.remeasuring.portions import left_under, remeasure
from registry.intake.remeasuring.rows import bring_edition
from registry.intake.remeasuring.stored import run_under
from registry.intake.remeasuring.switch import switch
from registry.intake.withdraw import withdraw
from registry.models import Finding, Measurement, PumpModel, Run, RunEdition, Unit, UnitSummary
from tests import community, factories
from tests.declared import provenance
from tests.editions import uneven_trace
from tests.intake.test_at_once import at_once
from tests.traces import trace_bytes

ALL = (1, 10**9)
UNPLACED = "LK009000"  # lies in no declared span, so what clinics say of it counts


@pytest.fixture
def runs(operator, second_edition) -> list[Run]:
    """An uneven run that says B, then a good one that says A and so contradicts it; a withdrawn one; and the
    uneven trace once more under another serial."""
    said = provenance(serial=UNPLACED, revision="B")
    receive(uneven_trace(), said, operator)
    receive(trace_bytes(seed=2), provenance(serial=UNPLACED, revision="A"), operator)
    gone = receive(trace_bytes(seed=3), provenance(), operator).run
    withdraw(gone.pk, operator, "rig leaked")
    receive(uneven_trace(), provenance(), operator)
    bring_edition(2)
    assert states() == ["accepted", "held", "withdrawn", "held"]
    return list(Run.objects.order_by("pk"))


def states() -> list[str]:
    return list(Run.objects.order_by("pk").values_list("state", flat=True))


def holding(run: Run) -> set[str]:
    """What holds a run under the current edition."""
    found = run.findings.filter(edition__is_current=True, severity="hold")
    return set(found.values_list("code", flat=True))


def check_summaries() -> None:
    """For each edition summaries equal a plain computation over the accepted runs, and none is missing."""
    told = {
        (s.unit_id, s.level, s.edition_id, s.metric): (s.count, pytest.approx(s.mean))
        for s in UnitSummary.objects.all()
    }
    cells: dict[tuple, list[float]] = {}
    for m in Measurement.objects.filter(run__state="accepted").select_related("run"):
        cells.setdefault((m.run.unit_id, m.run.level, m.edition_id, m.metric), []).append(m.value)
    assert told == {key: (len(values), sum(values) / len(values)) for key, values in cells.items()}


def test_states_units_and_summaries_follow_the_edition(runs):
    remeasure(2, *ALL)
    assert states() == ["accepted", "held", "withdrawn", "held"]
    assert Unit.objects.get(serial=UNPLACED).revision.label == "B"
    done = switch(2)
    assert (done.old, done.new, done.held, done.freed, done.stragglers) == (1, 2, 1, 1, 0)
    assert current_edition() == 2
    # The uneven run counts no more, so nothing contradicts the good one, and the unit is what that says.
    assert states() == ["held", "accepted", "withdrawn", "held"]
    assert Unit.objects.get(serial=UNPLACED).revision.label == "A"
    assert holding(runs[0]) == {"too_few_cycles"}
    assert holding(runs[1]) == set()
    assert holding(runs[3]) == {"too_few_cycles", "trace_seen_before"}
    check_summaries()


def test_switching_back_brings_back_what_was(runs):
    def told() -> tuple:
        findings = (
            Finding.objects.filter(edition=1).order_by("run", "code").values_list("run", "code", "message")
        )
        return list(Measurement.objects.filter(edition=1).order_by("pk").values()), list(findings)

    before, reads = told(), list(Run.objects.order_by("pk").values_list("read", flat=True))
    remeasure(2, *ALL)
    switch(2)
    switch(1)
    assert told()[0] == before[0]
    assert list(Run.objects.order_by("pk").values_list("read", flat=True)) == reads
    assert current_edition() == 1
    # First come: the good run counted when the uneven one was set free, so that is the one in question now.
    assert states() == ["held", "accepted", "withdrawn", "held"]
    assert holding(runs[0]) == {"revision_contradicts_unit"}
    check_summaries()


def test_a_switch_twice_is_a_switch_once(runs):
    remeasure(2, *ALL)
    switch(2)
    versions = list(PumpModel.objects.values_list("catalogue_version", flat=True))
    again = switch(2)
    assert (again.old, again.new, again.held, again.freed) == (2, 2, 0, 0)
    assert list(PumpModel.objects.values_list("catalogue_version", flat=True)) == versions


def test_few_stragglers_are_measured_by_the_switch_itself(runs):
    remeasure(2, runs[0].pk, runs[1].pk)
    assert switch(2).stragglers == 2
    assert not left_under(1).exists()
    assert RunEdition.objects.filter(edition=2).count() == len(runs)
    check_summaries()


def test_a_switch_is_refused_while_many_runs_are_left(runs, monkeypatch):
    monkeypatch.setattr(switching, "STRAGGLERS", 3)
    with pytest.raises(Conflict, match="4 runs are not measured under edition 2 yet") as refusal:
        switch(2)
    assert refusal.value.extra == {"left": 4}
    assert current_edition() == 1
    assert not RunEdition.objects.exists()


def test_an_unknown_edition_is_refused(runs):
    with pytest.raises(KeyError, match="no edition 7"):
        switch(7)


def test_uploads_and_previews_are_measured_under_the_edition_switched_to(runs, operator):
    switch(2)
    receipt = receive(trace_bytes(seed=9), provenance(), operator)
    assert set(receipt.run.measurements.values_list("edition", flat=True)) == {2}
    assert not left_under(2).exists()
    assert [run.pk for run in left_under(1)] == [receipt.run.pk]
    for said in (provenance(), {}):
        assert preview(trace_bytes(), said, operator).measured.edition == 2
    assert preview(trace_bytes(), {}, None).measured.edition == 2


def test_what_intake_finds_later_touches_the_current_edition_alone(runs, operator):
    remeasure(2, *ALL)
    switch(2)
    kept = list(Finding.objects.filter(edition=1).order_by("pk").values())
    withdraw(runs[0].pk, operator, "typed wrong")
    assert holding(runs[3]) == {"too_few_cycles"}
    assert list(Finding.objects.filter(edition=1).order_by("pk").values()) == kept


def test_a_run_can_be_read_under_either_edition(runs):
    with pytest.raises(NotMeasured, match="not measured under edition 2"):
        run_under(runs[0], 2)
    with pytest.raises(UnknownEdition, match="no edition 9"):
        run_under(runs[0], 9)
    remeasure(2, *ALL)
    for current in (1, 2):
        switch(current)
        run = Run.objects.get(pk=runs[0].pk)
        first, second = run_under(run, 1), run_under(run, 2)
        assert (first.state, second.state) == ("accepted", "held")
        assert {m.edition_id for m in first.measurements} == {1}
        assert {f.code for f in second.findings if f.severity == "hold"} == {"too_few_cycles"}
        assert first.read == second.read
    assert {run_under(Run.objects.get(pk=runs[2].pk), edition).state for edition in (1, 2)} == {"withdrawn"}


@pytest.mark.django_db(transaction=True)
class TestAtOnce:
    """On a database that really commits."""

    @pytest.fixture
    def uploader(self, second_edition):
        factories.edition()
        community.catalogue()
        bring_edition(2)
        return community.operator()

    def test_an_upload_that_waits_for_a_switch_is_measured_under_the_new_edition(self, uploader):
        receive(trace_bytes(seed=1), provenance(), uploader)
        with ThreadPoolExecutor(1) as pool, transaction.atomic():
            switch(2)
            upload = pool.submit(at_once, lambda: receive(uneven_trace(), provenance(level=5), uploader))
            with pytest.raises(TimeoutError):
                upload.result(1)
            transaction.on_commit(lambda: upload.result(30))
        (receipt,) = upload.result(30)
        assert (receipt.run.state, receipt.measured.edition) == ("held", 2)
        assert set(receipt.run.findings.values_list("edition", flat=True)) == {2}

    def test_uploads_beside_remeasuring_and_a_switch_leave_everything_whole(self, uploader):
        for n in range(12):
            receive(trace_bytes(seed=n), provenance(level=n % 3), uploader)

        def up(n: int) -> None:
            receive(trace_bytes(seed=100 + n), provenance(level=n % 3), uploader)

        def turn() -> None:
            time.sleep(0.15)
            switch(2)

        jobs = [lambda n=n: up(n) for n in range(12)]
        at_once(lambda: remeasure(2, *ALL), lambda: remeasure(2, *ALL), turn, *jobs)
        assert current_edition() == 2
        assert Run.objects.count() == 24
        for run in Run.objects.all():
            names = list(run.measurements.filter(edition=2).values_list("metric", flat=True))
            assert len(names) == len(set(names)) == 15
        check_summaries()
        connection.close()
