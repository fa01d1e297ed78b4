"""The report against a plain computation, before a switch and after it."""

from statistics import median

import pytest
from django.core.files.storage import storages

from registry.errors import Conflict
from registry.intake.receive import receive
from registry.intake.remeasuring.portions import remeasure
from registry.intake.remeasuring.report import MetricChange, report
from registry.intake.remeasuring.rows import bring_edition
from registry.intake.remeasuring.switch import switch
from registry.intake.remeasuring.text import report_text
from registry.intake.withdraw import withdraw
from registry.models import Run
from registry.waveform import Measured, measure
from tests.declared import provenance
from tests.editions import uneven_trace
from tests.intake.test_remeasure import ALL, GAUGE
from tests.traces import trace_bytes

TRACES = [trace_bytes(seed=n, rate_cpm=50 + 7 * n) for n in range(6)] + [uneven_trace()]


@pytest.fixture
def runs(operator, second_edition) -> list[Run]:
    """Runs of all TRACES, then a withdrawn one, the first trace once more under another serial, and one whose
    original is lost."""
    bring_edition(2)
    stored = [receive(data, provenance(level=n), operator).run for n, data in enumerate(TRACES)]
    gone = receive(trace_bytes(seed=50), provenance(), operator).run
    withdraw(gone.pk, operator, "rig leaked")
    receive(TRACES[0], provenance(serial="LK000777"), operator)
    lost = receive(trace_bytes(seed=60), provenance(), operator).run
    storages["traces"].delete(lost.trace.storage_name)
    return stored


def truth(name: str) -> dict[str, float | int | None]:
    """A metric's changes by plain arithmetic on what `measure` gives for both editions."""
    counted = [*TRACES, TRACES[0]]
    pairs: list[tuple[Measured, Measured]] = [
        (measure(data, gauge=GAUGE, edition=1), measure(data, gauge=GAUGE, edition=2)) for data in counted
    ]
    both = [(a.metrics[name], b.metrics[name]) for a, b in pairs if name in a.metrics and name in b.metrics]
    moved = [
        (a, abs(b.value - a.value))
        for a, b in both
        if abs(b.value - a.value) > 1e-9 * max(abs(a.value), abs(b.value))
    ]
    changes = [change for _, change in moved]
    percents = [100 * change / abs(a.value) for a, change in moved if a.value]
    shares = [change / a.u for a, change in moved if a.u]
    return {
        "runs": len(both),
        "moved": len(moved),
        "gained": sum(name in b.metrics and name not in a.metrics for a, b in pairs),
        # the run whose original is lost keeps its metrics under the first edition only
        "lost": sum(name in a.metrics and name not in b.metrics for a, b in pairs) + 1,
        "median_change": median(changes) if changes else None,
        "largest_change": max(changes, default=None),
        "median_percent": median(percents) if percents else None,
        "largest_percent": max(percents, default=None),
        "median_in_u": median(shares) if shares else None,
        "largest_in_u": max(shares, default=None),
    }


def by_name(metrics: list[MetricChange]) -> dict[str, MetricChange]:
    return {metric.metric: metric for metric in metrics}


def test_each_metric_moved_by_what_plain_arithmetic_gives(runs):
    remeasure(2, *ALL)
    found = by_name(report(2).metrics)
    assert len(found) == 15
    for name, metric in found.items():
        for part, value in truth(name).items():
            told = getattr(metric, part)
            assert told == (None if value is None else pytest.approx(value, rel=1e-9)), (name, part)
    assert found["duty_factor"].moved == found["duty_factor"].runs
    assert found["duty_factor"].unit == "1"


def test_the_furthest_run_is_the_one_that_moved_most_uncertainties(runs):
    remeasure(2, *ALL)
    metric = by_name(report(2).metrics)["duty_factor"]
    run = Run.objects.get(pk=metric.furthest_run)
    before, after = (run.measurements.get(edition=e, metric="duty_factor") for e in (1, 2))
    assert abs(after.value - before.value) / before.u == pytest.approx(metric.largest_in_u)


def test_states_and_refusals_are_told_with_their_codes_before_and_after_a_switch(runs):
    remeasure(2, *ALL)
    for _ in range(2):
        found = report(2)
        assert (found.edition, found.against, found.left) == (2, 1, 0)
        assert (found.runs, found.measured) == (9, 9)
        assert found.unmeasured == {"trace_missing": 1}
        assert found.held.runs == 2
        assert found.held.why == {"too_few_cycles": 1, "unmeasured": 1}
        assert (found.freed.runs, found.freed.why) == (0, {})
        switch(2)
    back = report(1)
    assert (back.edition, back.against) == (1, 2)
    assert back.freed.runs == 2
    assert back.freed.why == {"too_few_cycles": 1, "unmeasured": 1}


def test_the_switch_holds_as_many_as_the_report_said(runs):
    remeasure(2, *ALL)
    said = report(2)
    done = switch(2)
    assert (done.held, done.freed) == (said.held.runs, said.freed.runs)


def test_an_unfinished_report_says_what_is_left(runs):
    remeasure(2, runs[0].pk, runs[2].pk)
    found = report(2)
    assert (found.runs, found.measured, found.left) == (9, 3, 7)
    assert "3 of 9 runs measured" in report_text(found)


def test_the_text_shows_what_moved_and_why_runs_are_held(runs):
    remeasure(2, *ALL)
    lines = report_text(report(2)).splitlines()
    (duty,) = [line.split() for line in lines if line.startswith("duty_factor (1)")]
    assert duty[2:6] == ["7", "7", "0", "2"]
    assert "2 runs are held, by too_few_cycles 1, unmeasured 1." in lines
    assert "0 runs are set free." in lines
    assert max(map(len, lines)) <= 130


def test_there_must_be_something_to_compare_with(operator, second_edition):
    with pytest.raises(Conflict, match="another edition than 1"):
        report(1)
