"""Another edition beside the present one: from the original bytes, nothing left out and nothing twice."""

import pytest
from django.core.files.storage import storages

from registry.intake import measure as measuring
from registry.intake.receive import receive
from registry.intake.remeasuring import portions as remeasuring
from registry.intake.remeasuring.portions import left_under, remeasure
from registry.intake.remeasuring.rows import bring_edition, forget_passing
from registry.intake.withdraw import withdraw
from registry.models import Finding, Measurement, Run, RunEdition, UnitSummary
from registry.waveform import Declared, GaugeSpec, ReadError, measure
from tests.declared import provenance
from tests.traces import trace_bytes

GAUGE = GaugeSpec(0.0, 400.0, 0.1, 2.0, 0.0)
ALL = (1, 10**9)
FLAT = b"time (s),vacuum (mmHg)\n" + b"".join(b"%.1f,1.0\n" % (n / 10) for n in range(200))


@pytest.fixture
def runs(operator, second_edition) -> list[Run]:
    """Four runs of one unit: accepted twice in one cell, held, and withdrawn."""
    bring_edition(2)
    accepted = [receive(trace_bytes(seed=n), provenance(), operator).run for n in (1, 2)]
    held = receive(FLAT, provenance(level=4), operator).run
    gone = receive(trace_bytes(seed=4), provenance(), operator).run
    withdraw(gone.pk, operator, "rig leaked")
    stored = list(Run.objects.order_by("pk"))
    assert [run.state for run in stored] == ["accepted", "accepted", "held", "withdrawn"]
    assert [run.pk for run in stored] == [*(run.pk for run in accepted), held.pk, gone.pk]
    return stored


def rows(edition: int) -> list[tuple]:
    return list(
        Measurement.objects.filter(edition=edition)
        .order_by("run", "metric")
        .values_list("run", "metric", "value", "unit", "u", "u_random", "u_systematic")
    )


def test_every_run_is_measured_from_its_bytes_and_the_first_edition_stays(runs):
    before = rows(1), list(Finding.objects.order_by("pk").values())
    assert remeasure(2, *ALL) == 4
    assert (rows(1), list(Finding.objects.filter(edition=1).order_by("pk").values())) == before
    for run, seed in ((runs[0], 1), (runs[1], 2), (runs[3], 4)):
        truth = measure(trace_bytes(seed=seed), gauge=GAUGE, declared=Declared(), edition=2)
        stored = {m.metric: m for m in run.measurements.filter(edition=2)}
        assert set(stored) == set(truth.metrics)
        for name, quantity in truth.metrics.items():
            assert stored[name].value == quantity.value
            assert stored[name].u == pytest.approx(quantity.u)
        assert RunEdition.objects.get(run=run, edition=2).read == truth.understood.as_dict()
    duty = [m.value for m in runs[0].measurements.filter(metric="duty_factor").order_by("edition")]
    assert duty[1] - duty[0] == pytest.approx(0.03, abs=0.005)


def test_the_row_of_the_present_edition_is_kept_beside(runs):
    remeasure(2, *ALL)
    kept = RunEdition.objects.filter(edition=1).order_by("run")
    assert [row.holds for row in kept] == [False, False, True, False]
    assert [row.read for row in kept] == [run.read for run in runs]


def test_a_second_time_changes_nothing(runs):
    remeasure(2, *ALL)
    before = rows(2), Finding.objects.count(), RunEdition.objects.count()
    assert remeasure(2, *ALL) == 0
    assert (rows(2), Finding.objects.count(), RunEdition.objects.count()) == before


def test_the_current_edition_is_never_measured_again(runs):
    assert not left_under(1).exists()
    assert remeasure(1, *ALL) == 0
    assert not RunEdition.objects.exists()


def test_an_unknown_edition_is_refused(runs):
    with pytest.raises(KeyError, match="no edition 9"):
        remeasure(9, *ALL)
    with pytest.raises(KeyError, match="known: 1, 2"):
        bring_edition(9)


def test_summaries_of_both_editions_count_accepted_runs(runs):
    remeasure(2, *ALL)
    for edition in (1, 2):
        summary = UnitSummary.objects.get(edition=edition, metric="duty_factor")
        values = [runs[n].measurements.get(edition=edition, metric="duty_factor").value for n in (0, 1)]
        assert summary.count == 2
        assert summary.mean == pytest.approx(sum(values) / 2)


def test_each_run_of_losses_is_kept_under_both_editions(runs):
    remeasure(2, *ALL)
    for edition in (1, 2):
        kept = UnitSummary.objects.get(edition=edition, metric="loss_rate")
        assert kept.each_at == [runs[0].recorded_at, runs[1].recorded_at]
        values = [runs[n].measurements.get(edition=edition, metric="loss_rate").value for n in (0, 1)]
        assert kept.each_value == values


def test_work_ended_at_any_run_is_taken_up_without_doubling(runs, monkeypatch):
    monkeypatch.setattr(remeasuring, "STORED_AT_ONCE", 1)
    whole = remeasuring.measure_under

    def die_at_the_third(run, edition):
        if run.pk == runs[2].pk:
            raise KeyboardInterrupt
        return whole(run, edition)

    monkeypatch.setattr(remeasuring, "measure_under", die_at_the_third)
    with pytest.raises(KeyboardInterrupt):
        remeasure(2, *ALL)
    assert [run.pk for run in left_under(2).order_by("pk")] == [runs[2].pk, runs[3].pk]
    monkeypatch.setattr(remeasuring, "measure_under", whole)
    assert remeasure(2, *ALL) == 2
    assert not left_under(2).exists()
    assert UnitSummary.objects.get(edition=2, metric="duty_factor").count == 2


def test_only_the_runs_asked_for_are_measured(runs):
    assert remeasure(2, runs[1].pk, runs[2].pk) == 2
    assert [run.pk for run in left_under(2).order_by("pk")] == [runs[0].pk, runs[3].pk]


def refused(run: Run) -> str:
    """The code of why a run is not measured under edition 2; it must be held by a finding that says so."""
    row = RunEdition.objects.get(run=run, edition=2)
    assert row.holds
    assert not run.measurements.filter(edition=2).exists()
    (finding,) = run.findings.filter(edition=2)
    assert (finding.code, finding.severity) == ("unmeasured", "hold")
    return row.refused


def test_a_lost_and_a_damaged_original_are_recorded_and_tried_again(runs):
    storage = storages["traces"]
    originals = {run.pk: trace_bytes(seed=seed) for run, seed in zip(runs[:2], (1, 2), strict=True)}
    paths = [storage.path(run.trace.storage_name) for run in runs[:2]]
    storage.delete(runs[0].trace.storage_name)
    with open(paths[1], "ab") as out:
        out.write(b"30.1,3\n")
    assert remeasure(2, *ALL) == 4
    assert [refused(run) for run in runs[:2]] == ["trace_missing", "trace_damaged"]
    assert not UnitSummary.objects.filter(edition=2).exists()

    for path, run in zip(paths, runs, strict=False):
        with open(path, "wb") as out:
            out.write(originals[run.pk])
    assert forget_passing(2) == 2
    assert remeasure(2, *ALL) == 2
    assert UnitSummary.objects.get(edition=2, metric="duty_factor").count == 2
    assert not Finding.objects.filter(code="unmeasured").exists()


def test_a_trace_an_edition_cannot_read_is_recorded_for_good(runs, monkeypatch):
    def pickier(data, *, edition, **how):
        if data == trace_bytes(seed=2) and edition == 2:
            raise ReadError("no_numbers", "no line holds two numbers", None, "look at the file")
        return measure(data, edition=edition, **how)

    monkeypatch.setattr(measuring, "measure", pickier)
    remeasure(2, *ALL)
    assert refused(runs[1]) == "no_numbers"
    assert forget_passing(2) == 0
    assert UnitSummary.objects.get(edition=2, metric="duty_factor").count == 1
    assert UnitSummary.objects.get(edition=1, metric="duty_factor").count == 2


def test_what_people_wrote_into_a_file_is_in_no_finding(runs, monkeypatch):
    codes = iter(("ambiguous_columns", "side_needed", "fault"))

    def wordy(data, *, edition, **how):
        code = next(codes, "")
        if code == "fault":
            raise ValueError("no float: Mary Roe")
        if code:
            raise ReadError(code, "Several columns: Mary Roe, Jane Doe", None, "")
        return measure(data, edition=edition, **how)

    monkeypatch.setattr(measuring, "measure", wordy)
    assert remeasure(2, *ALL) == 4
    assert [refused(run) for run in runs[:3]] == ["ambiguous_columns", "side_needed", "fault"]
    told = Finding.objects.filter(code="unmeasured").values_list("message", flat=True)
    assert len(told) == 3
    assert not [message for message in told if "Roe" in message or "Doe" in message]


def test_a_fault_on_one_trace_keeps_no_other_waiting(runs, monkeypatch, caplog):
    def broken(data, *, edition, **how):
        if data == trace_bytes(seed=1):
            raise ZeroDivisionError("float division by zero")
        return measure(data, edition=edition, **how)

    monkeypatch.setattr(measuring, "measure", broken)
    assert remeasure(2, *ALL) == 4
    assert refused(runs[0]) == "fault"
    assert "cannot be measured under edition 2" in caplog.text


def test_a_storage_that_is_away_stops_the_work_and_records_nothing(runs, monkeypatch):
    def away(trace):
        raise ConnectionError("storage does not answer")

    monkeypatch.setattr(measuring, "stored_bytes", away)
    with pytest.raises(ConnectionError):
        remeasure(2, *ALL)
    assert not RunEdition.objects.exists()
