"""Receiving a run: what is stored, held, refused; the same upload twice; summaries that stay true."""

import pytest
from django.core.files.storage import storages
from procrastinate.contrib.django.models import ProcrastinateJob

from registry.errors import Invalid, UnknownPumpModel, UnreadableTrace
from registry.intake.measure import preview
from registry.intake.receive import receive
from registry.intake.withdraw import withdraw
from registry.models import Measurement, Run, Trace, Unit, UnitSummary
from tests.declared import MODEL, provenance
from tests.traces import trace_bytes, two_sided_bytes

pytestmark = pytest.mark.django_db


def codes(receipt):
    return {finding.code for finding in receipt.findings}


def test_a_run_is_stored_measured_summarised_and_its_check_queued(operator):
    data = trace_bytes()
    run = receive(data, provenance(), operator).run
    assert run.state == "accepted"
    values = {m.metric: m.value for m in run.measurements.all()}
    assert values["cycle_rate"] == pytest.approx(60, rel=1e-3)
    assert values["peak_vacuum"] == pytest.approx(200, abs=1)
    with storages["traces"].open(run.trace.storage_name) as file:
        assert file.read() == data
    assert UnitSummary.objects.filter(unit=run.unit, count=1).count() == len(values)
    asked = {"pump_model": run.pump_model_id, "gauge": run.session.gauge_id}
    assert ProcrastinateJob.objects.filter(args=asked).count() == 1


def test_the_same_upload_is_the_same_run(operator):
    first = receive(trace_bytes(), provenance(), operator)
    said = {"serial": "lk-000 123", "pump_model": "larkspur two", "gauge": "g1", "flange_mm": "24.0"}
    again = receive(trace_bytes(), provenance(**said, operator="thyme"), operator)
    assert (first.measured is None, again.measured is None) == (False, True)
    assert first.run.pk == again.run.pk
    assert Run.objects.count() == 1
    assert UnitSummary.objects.get(metric="cycle_rate").count == 1


def test_the_same_bytes_with_other_provenance_are_held(operator):
    first = receive(trace_bytes(), provenance(), operator)
    other = receive(trace_bytes(), provenance(level=4), operator)
    assert other.run.state == "held"
    assert codes(other) >= {"trace_seen_before"}
    withdraw(first.run.pk, operator, "wrong level typed")
    other.run.refresh_from_db()
    assert other.run.state == "accepted"
    assert set(UnitSummary.objects.values_list("level", flat=True)) == {"4"}


def test_both_sides_of_a_double_pump_may_come_from_one_file(operator):
    left = receive(two_sided_bytes(), provenance(side="left"), operator)
    right = receive(two_sided_bytes(), provenance(side="right"), operator)
    assert (left.run.state, right.run.state) == ("accepted", "accepted")


def test_one_column_is_not_counted_for_two_sides(operator):
    first = receive(trace_bytes(), provenance(side="left"), operator)
    others = [receive(trace_bytes(), provenance(side=side), operator) for side in ("right", "single")]
    assert [other.run.state for other in others] == ["held", "held"]
    assert all("trace_seen_before" in codes(other) for other in others)
    previewed = preview(trace_bytes(seed=3), provenance(side="right"), operator)
    assert not previewed.measured.holds
    assert preview(trace_bytes(), provenance(side="right", note="again"), operator).measured.holds
    withdraw(first.run.pk, operator, "wrong side")
    for other in others:
        other.run.refresh_from_db()
    assert [other.run.state for other in others] == ["accepted", "held"]


def test_a_unit_gets_the_revision_of_its_span(operator):
    run = receive(trace_bytes(), provenance(serial="lk-005 001"), operator).run
    assert (run.unit.revision.label, run.unit.revision_basis) == ("B", "declared")


def test_a_revision_that_contradicts_the_span_holds_the_run_and_says_so(operator):
    receipt = receive(trace_bytes(), provenance(serial="LK005001", revision="A"), operator)
    assert receipt.run.state == "held"
    (finding,) = [f for f in receipt.findings if f.code == "revision_contradicts_span"]
    assert "LK005000 to LK007999" in finding.message
    assert not UnitSummary.objects.exists()
    assert receipt.run.unit.revision.label == "B"


def test_a_revision_seen_on_a_unit_outside_all_spans_is_observed(operator):
    run = receive(trace_bytes(), provenance(serial="LK009000", revision="b"), operator).run
    assert (run.unit.revision.label, run.unit.revision_basis) == ("B", "observed")
    other = receive(trace_bytes(seed=2), provenance(serial="LK009000", revision="A"), operator)
    assert other.run.state == "held"
    assert codes(other) >= {"revision_contradicts_unit"}
    withdraw(run.pk, operator, "looked again: it is an A")
    other.run.refresh_from_db()
    assert other.run.state == "accepted"
    assert Unit.objects.get(serial="LK009000").revision.label == "A"
    withdraw(other.run.pk, operator, "no, it cannot be told")
    assert Unit.objects.get(serial="LK009000").revision is None


def test_an_undeclared_gauge_is_accepted_with_a_wider_uncertainty(operator):
    known = receive(trace_bytes(), provenance(), operator).run
    unknown = receive(trace_bytes(seed=2), provenance(gauge="G9"), operator)
    assert unknown.run.state == "accepted"
    assert codes(unknown) >= {"gauge_undeclared"}
    u = {r.pk: r.measurements.get(metric="peak_vacuum").u for r in (known, unknown.run)}
    assert u[unknown.run.pk] > 2 * u[known.pk]


def test_a_file_that_cannot_be_read_is_refused_with_its_line_and_leaves_nothing(operator):
    lines = trace_bytes().split(b"\n")
    lines[40] = b"0.780,what"
    with pytest.raises(UnreadableTrace) as caught:
        receive(b"\n".join(lines), provenance(), operator)
    assert [fault.line for fault in caught.value.faults] == [41]
    assert not Run.objects.exists()
    assert not Trace.objects.exists()


def test_a_trace_that_cannot_be_trusted_is_held(operator):
    receipt = receive(trace_bytes(seconds=4), provenance(), operator)
    assert receipt.run.state == "held"
    assert any(f.severity == "hold" for f in receipt.findings)
    assert not UnitSummary.objects.exists()


def test_an_unknown_model_is_refused_with_the_nearest_names(operator):
    with pytest.raises(UnknownPumpModel) as caught:
        receive(trace_bytes(), provenance(pump_model="Larkspurr 2"), operator)
    assert caught.value.extra["nearest"] == [MODEL]


def test_an_unknown_revision_or_operator_is_refused(operator):
    for said in ({"revision": "Z"}, {"operator": "nobody"}):
        with pytest.raises(Invalid) as caught:
            receive(trace_bytes(), provenance(**said), operator)
        assert [fault.field for fault in caught.value.faults] == list(said)


def test_a_serial_of_no_known_form_is_accepted_with_a_caution(operator):
    receipt = receive(trace_bytes(), provenance(serial="12"), operator)
    assert receipt.run.state == "accepted"
    assert codes(receipt) >= {"serial_unread"}


def test_summaries_equal_a_plain_computation_and_follow_a_withdrawal(operator):
    runs = [receive(trace_bytes(rate_cpm=60 + k, seed=k), provenance(), operator).run for k in range(4)]
    withdraw(runs[0].pk, operator, "rig leaked")
    summary = UnitSummary.objects.get(metric="cycle_rate")
    values = list(
        Measurement.objects.filter(run__in=runs[1:], metric="cycle_rate").values_list("value", flat=True)
    )
    mean = sum(values) / 3
    assert (summary.count, summary.mean) == (3, pytest.approx(mean))
    assert summary.sum_squares == pytest.approx(sum((v - mean) ** 2 for v in values))
    for run in runs[1:]:
        withdraw(run.pk, operator, "rig leaked")
    assert not UnitSummary.objects.exists()


def test_a_summary_of_losses_keeps_each_run_in_order_of_time_and_follows_a_withdrawal(operator):
    said = ("2026-01-03T09:00:00Z", "2026-01-01T09:00:00Z", "2026-01-05T09:00:00Z")
    runs = [
        receive(trace_bytes(seed=k), provenance(recorded_at=at), operator).run for k, at in enumerate(said)
    ]
    values = [run.measurements.get(metric="loss_rate").value for run in runs]
    kept = UnitSummary.objects.get(metric="loss_rate")
    times = [runs[1].recorded_at, runs[0].recorded_at, runs[2].recorded_at]
    assert (kept.each_at, kept.each_value) == (times, [values[1], values[0], values[2]])
    withdraw(runs[0].pk, operator, "rig leaked")
    kept.refresh_from_db()
    assert (kept.each_at, kept.each_value) == ([times[0], times[2]], [values[1], values[2]])
    others = UnitSummary.objects.exclude(metric="loss_rate")
    assert not others.filter(each_at__isnull=False).exists()
    assert not others.filter(each_value__isnull=False).exists()


def test_the_query_count_of_an_upload_is_bounded(operator, django_assert_max_num_queries):
    receive(trace_bytes(), provenance(), operator)
    with django_assert_max_num_queries(24):
        receive(trace_bytes(seed=2), provenance(), operator)


def test_an_unread_serial_is_kept_as_given_and_told_what_it_may_be(operator):
    run = receive(trace_bytes(), provenance(serial="LKO00123"), operator).run
    assert run.unit.serial == "LKO00123"
    (finding,) = run.findings.filter(code="serial_unread")
    assert finding.hint == (
        "Check it against the label, which may bear LK000123. If it is right, tell a curator its form."
    )
    (other,) = receive(trace_bytes(seed=2), provenance(serial="QQQ1"), operator).run.findings.filter(
        code="serial_unread"
    )
    assert other.hint.startswith("Check it against the label. ")
