"""Writers at once: nothing doubled, nothing lost, no answer from half a catalogue, no deadlock."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from copy import deepcopy
from typing import Any

import pytest
from django.db import connection, transaction

from registry.intake.catalogue import load_catalogue
from registry.intake.receive import receive
from registry.intake.withdraw import withdraw
from registry.models import Measurement, Operator, Run, Unit, UnitSummary
from tests import community, factories
from tests.declared import CATALOGUE, provenance
from tests.traces import trace_bytes

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def operator() -> Operator:
    """An operator on a database that really commits."""
    factories.edition()
    community.catalogue()
    return community.operator()


def at_once(*jobs: Callable[[], Any]) -> list[Any]:
    """Run jobs in threads of their own, each on a connection of its own."""

    def work(job: Callable[[], Any]) -> Any:
        try:
            return job()
        finally:
            connection.close()

    with ThreadPoolExecutor(len(jobs)) as pool:
        return list(pool.map(work, jobs))


def check_summaries() -> None:
    """Every summary equals a plain computation over the accepted runs of its cell, and none is missing."""
    for summary in UnitSummary.objects.all():
        values = list(
            Measurement.objects.filter(
                run__unit=summary.unit, run__level=summary.level, run__state="accepted", metric=summary.metric
            ).values_list("value", flat=True)
        )
        assert summary.count == len(values)
        assert summary.mean == pytest.approx(sum(values) / len(values))
        assert sorted(summary.each_value or []) == (sorted(values) if summary.metric == "loss_rate" else [])
    cells = {(run.unit_id, run.level) for run in Run.objects.filter(state="accepted")}
    assert cells == {(s.unit_id, s.level) for s in UnitSummary.objects.all()}


def test_the_same_upload_eight_times_is_one_run(operator):
    data = trace_bytes()
    receipts = at_once(*[lambda: receive(data, provenance(), operator)] * 8)
    assert len({receipt.run.pk for receipt in receipts}) == 1
    assert sum(receipt.measured is not None for receipt in receipts) == 1
    check_summaries()


def test_one_trace_for_six_units_counts_once(operator):
    data = trace_bytes()
    first = receive(data, provenance(), operator).run
    withdraw(first.pk, operator, "typed wrong")
    receipts = at_once(
        *(lambda n=n: receive(data, provenance(serial=f"LK00020{n}"), operator) for n in range(6))
    )
    assert sorted(receipt.run.state for receipt in receipts) == ["accepted", *["held"] * 5]
    check_summaries()


def test_uploads_and_withdrawals_of_one_unit_keep_its_summaries_true(operator):
    old = [receive(trace_bytes(seed=n), provenance(), operator).run for n in range(6)]
    at_once(
        *(lambda run=run: withdraw(run.pk, operator, "rig leaked") for run in old),
        *(lambda n=n: receive(trace_bytes(seed=10 + n), provenance(), operator) for n in range(6)),
    )
    assert UnitSummary.objects.get(metric="cycle_rate").count == 6
    check_summaries()


def test_an_upload_during_a_catalogue_load_goes_by_the_new_catalogue(operator):
    declared = deepcopy(CATALOGUE)
    declared["pump_model"][0]["revision"][0]["span"][0]["last"] = "LK003999"
    declared["pump_model"][0]["revision"][1]["span"][0]["first"] = "LK004000"
    curator = community.curator()
    with ThreadPoolExecutor(1) as pool, transaction.atomic():
        load_catalogue(declared, curator)
        said = provenance(serial="LK004500", revision="A")
        upload = pool.submit(at_once, lambda: receive(trace_bytes(), said, operator))
        with pytest.raises(TimeoutError):
            upload.result(1)
        transaction.on_commit(lambda: upload.result(30))
    (receipt,) = upload.result(30)
    assert receipt.run.state == "held"
    assert Unit.objects.get(serial="LK004500").revision.label == "B"


def test_uploads_beside_loads_end_as_the_last_load_says(operator):
    curator = community.curator()

    def load(last: int) -> None:
        declared = deepcopy(CATALOGUE)
        declared["pump_model"][0]["revision"][0]["span"][0]["last"] = f"LK{last:06d}"
        load_catalogue(declared, curator)

    jobs: list[Callable[[], Any]] = [lambda last=last: load(last) for last in (3000, 2000, 4999)]
    jobs += [
        lambda n=n: receive(trace_bytes(seed=n), provenance(serial=f"LK00250{n}", revision="A"), operator)
        for n in range(8)
    ]
    at_once(*jobs)
    load(2000)
    assert set(Unit.objects.values_list("asserted__label", "revision__label", "revision_basis")) == {
        ("A", "A", "observed")
    }
    check_summaries()


def test_withdrawals_that_free_each_others_twins_do_not_deadlock(operator):
    other = community.operator("brackwater", "fennel")
    pairs = []
    for n in range(6):
        one, two = trace_bytes(seed=20 + 2 * n), trace_bytes(seed=21 + 2 * n)
        counting = [
            receive(one, provenance(level=n), operator).run,
            receive(two, provenance(level=n), other).run,
        ]
        held = [receive(one, provenance(level=n), other).run, receive(two, provenance(level=n), operator).run]
        assert [run.state for run in held] == ["held", "held"]
        pairs.append((counting, held))
    for counting, held in pairs:
        at_once(
            lambda run=counting[0]: withdraw(run.pk, operator, "typed wrong"),
            lambda run=counting[1]: withdraw(run.pk, other, "typed wrong"),
        )
        for run in held:
            run.refresh_from_db()
            assert run.state == "accepted"
    assert UnitSummary.objects.filter(metric="cycle_rate").count() == 12
