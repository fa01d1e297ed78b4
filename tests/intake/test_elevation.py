"""Summaries keep what was recorded in unlike air apart."""

from importlib import import_module

import pytest
from django.db import connection

from registry.intake.remeasuring.cells import fill_cells
from registry.intake.summaries import refresh_summaries
from registry.models import Measurement, PumpModel, Run, UnitSummary
from tests import factories

pytestmark = pytest.mark.django_db


def recorded(
    model: PumpModel, serial: str, value: float, elevation_m: float | None, code: str = "north"
) -> Run:
    run = factories.run(factories.unit(model, serial, "A"), code, elevation_m=elevation_m)
    Measurement.objects.create(
        run=run, edition=factories.edition(), metric="peak_vacuum", unit="mmHg", value=value, u=1.0,
        u_random=0.4, u_systematic=0.9,
    )  # fmt: skip
    return run


def kept() -> list[tuple]:
    columns = (
        "unit__serial",
        "clinic__code",
        "elevation",
        "edition",
        "metric",
        "count",
        "mean",
        "sum_squares",
    )
    rows = UnitSummary.objects.order_by(*columns[:5]).values_list(*columns)
    return [(*row[:-2], pytest.approx(row[-2]), pytest.approx(row[-1])) for row in rows]


@pytest.fixture
def runs() -> list[Run]:
    model = factories.pump_model()
    made = [
        recorded(model, "LK000001", value, metres)
        for value, metres in ((240, 10), (242, 20), (200, 1600), (230, None))
    ]
    return [
        *made,
        recorded(model, "LK000002", 250, 700, "south"),
        recorded(model, "LK000003", 251, None, "south"),
    ]


def test_runs_of_one_unit_in_unlike_air_are_summarised_apart(runs) -> None:
    for run in runs:
        refresh_summaries(run)
    found = UnitSummary.objects.filter(unit__serial="LK000001").order_by("elevation")
    assert [(row.elevation, row.count, row.mean) for row in found] == [
        ("", 1, 230.0),
        ("above 1500 m", 1, 200.0),
        ("below 500 m", 2, 241.0),
    ]


def test_a_withdrawn_run_takes_its_own_band_alone_with_it(runs) -> None:
    for run in runs:
        refresh_summaries(run)
    gone = next(run for run in runs if run.session.elevation_m == 1600)
    Run.objects.filter(pk=gone.pk).update(state="held")
    refresh_summaries(gone)
    assert set(UnitSummary.objects.filter(unit__serial="LK000001").values_list("elevation", "count")) == {
        ("", 1),
        ("below 500 m", 2),
    }


def test_many_cells_at_once_come_out_the_same(runs) -> None:
    for run in runs:
        refresh_summaries(run)
    one_by_one = kept()
    UnitSummary.objects.all().delete()
    fill_cells(1, [run.pk for run in runs])
    assert kept() == one_by_one


def test_summaries_stored_before_bands_are_parted_by_the_migration(runs) -> None:
    for run in runs:
        refresh_summaries(run)
    parted = kept()
    _as_before_bands()
    assert UnitSummary.objects.filter(elevation="").count() == UnitSummary.objects.count() == 3
    with connection.cursor() as cursor:
        cursor.execute(import_module("registry.migrations.0005_elevation_bands")._FILL)
    assert kept() == parted


def _as_before_bands() -> None:
    """One row a unit, clinic and gauge, whatever the air."""
    rows = list(UnitSummary.objects.order_by("unit", "pk"))
    UnitSummary.objects.all().delete()
    first = {row.unit_id: row for row in reversed(rows)}
    for row in first.values():
        row.pk, row.elevation, row.count = None, "", Run.objects.filter(unit=row.unit_id).count()
        row.save()
