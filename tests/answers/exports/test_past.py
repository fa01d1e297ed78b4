"""Measurements as they counted at a past time: the same table again, whatever was judged otherwise since."""

import pytest
from django.utils import timezone

from registry.answers.exports.measurements import Measurements
from registry.models import Run, Unit
from tests import factories
from tests.answers.exports.stored import held, measured_run

# Each step is a transaction of its own, as the database's clock stands still within one.
pytestmark = pytest.mark.django_db(transaction=True)


def rows(**asked):
    """The rows as mappings."""
    names = [column.name for column in Measurements.columns]
    filled = Measurements().fill(model="Lapwing One", **asked)
    return [dict(zip(names, row, strict=True)) for chunk in filled.chunks for row in chunk]


def runs_of(found):
    return sorted({row["run"] for row in found})


def test_a_past_time_gives_the_runs_that_counted_then_as_they_counted():
    factories.edition()
    model = factories.pump_model()
    plain, moved = factories.unit(model, "LK000001", "A"), factories.unit(model, "LK000002", "A")
    stays, goes = measured_run(plain), measured_run(moved)
    waits = held(measured_run(plain), "too_short")
    before = rows(as_of=(moment := timezone.now()))
    assert before == rows()
    Run.objects.filter(pk=goes.pk).update(state="held")
    Run.objects.filter(pk=waits.pk).update(state="accepted")
    Unit.objects.filter(pk=moved.pk).update(revision=factories.revision(model, "B"))
    later = measured_run(moved)
    assert runs_of(rows()) == [stays.pk, waits.pk, later.pk]
    then = rows(as_of=moment)
    kept = [{**row, "revision_basis": None} for row in before if row["run"] == goes.pk]
    assert then == [row for row in before if row["run"] == stays.pk] + kept
    assert runs_of(rows(as_of=moment, revision="A")) == [stays.pk, goes.pk]
    assert runs_of(rows(as_of=moment, revision="B")) == []
    assert runs_of(rows(revision="B")) == [later.pk]
    assert runs_of(rows(as_of=moment, state="held")) == [waits.pk]
    assert runs_of(rows(as_of=moment, state="any", metric="peak_vacuum")) == [stays.pk, goes.pk, waits.pk]
