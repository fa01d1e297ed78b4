"""Summaries equal a plain computation, whichever statement makes them and whatever went before."""

import random
from collections import defaultdict
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import pytest

from registry.intake.remeasuring.cells import fill_cells
from registry.intake.summaries import refresh_summaries
from registry.models import BenchSession, Edition, Measurement, Run, UnitSummary
from tests import factories

pytestmark = pytest.mark.django_db
BEGAN = datetime(2026, 1, 1, tzinfo=UTC)
EDITIONS = (1, 2)
_RUN = ("unit_id", "clinic_id", "rig_id", "mode", "programme", "level", "side")
_SITTING = ("gauge_id", "power", "elevation")


@pytest.fixture
def runs() -> list[Run]:
    """Runs in few cells, which differ by one thing each: a gauge not declared, the other side, no words."""
    factories.edition()
    Edition.objects.create(number=2)
    unit, other = (factories.unit(factories.pump_model(name), "LK000001", "A") for name in ("One", "Two"))
    draw = random.Random(81)
    made = [drawn(draw, unit) for _ in range(60)] + [drawn(draw, other) for _ in range(4)]
    return list(Run.objects.select_related("session").filter(pk__in=made).order_by("pk"))


def drawn(draw: random.Random, unit: Any) -> int:
    """A run with two metrics under two editions, of which here and there one is missing."""
    run = factories.run(
        unit, state=draw.choice(["accepted", "accepted", "held"]), level=draw.choice(["", "3"])
    )
    given = {"operator": run.session.operator, "elevation_m": draw.choice([None, 2500.0])}
    gauge = draw.choice([None, run.session.gauge])
    session, _ = BenchSession.objects.get_or_create(clinic=run.clinic, gauge=gauge, gauge_code="", **given)
    # Some at the very same time, some at none that was said, and some of a clock that is far ahead.
    days = draw.choice([None, 0, 1, 300_000])
    at = None if days is None else BEGAN + timedelta(days=days)
    Run.objects.filter(pk=run.pk).update(session=session, recorded_at=at, side=draw.choice(["left", "right"]))
    Measurement.objects.bulk_create(
        Measurement(
            run=run, edition_id=edition, metric=metric, value=draw.choice([0.0, 1.5, 4.0]), unit="x",
            u=1.0, u_random=draw.random(), u_systematic=0.5,
        )
        for edition in EDITIONS for metric in ("loss_rate", "cycle_rate") if draw.random() < 0.9
    )  # fmt: skip
    return run.pk


def plain() -> dict[tuple, list[Any]]:
    """What summaries hold by cell, edition and metric, worked out in Python."""
    found = defaultdict(list)
    for one in Measurement.objects.filter(run__state="accepted").select_related("run__session"):
        cell = (*(getattr(one.run, n) for n in _RUN), *(getattr(one.run.session, n) for n in _SITTING))
        at = min(one.run.recorded_at or one.run.created_at, one.run.created_at)
        found[*cell, one.edition_id, one.metric].append((at, one.run_id, one.value, one.u_random))
    return {key: _figures(sorted(rows), losses=key[-1] == "loss_rate") for key, rows in found.items()}


def _figures(rows: list[tuple], *, losses: bool) -> list[Any]:
    at, _, values, u = (list(column) for column in zip(*rows, strict=True))
    figures = (np.mean(values), np.var(values) * len(values), np.sqrt(np.mean(np.square(u))))
    return [
        len(rows),
        *(round(float(one), 9) for one in figures),
        *((at, values) if losses else (None, None)),
    ]


def stored() -> dict[tuple, list[Any]]:
    return {
        (*(getattr(one, name) for name in (*_RUN, *_SITTING)), one.edition_id, one.metric): [
            one.count, *(round(of, 9) for of in (one.mean, one.sum_squares, one.u_random)), one.each_at,
            one.each_value,
        ]
        for one in UnitSummary.objects.all()
    }  # fmt: skip


def test_each_cell_made_by_itself_holds_what_its_runs_say(runs):
    for run in runs:
        refresh_summaries(run)
    found = stored()
    assert found == plain()
    assert {key[_RUN.index("side")] for key in found} == {"left", "right"}
    assert any(key[len(_RUN)] is None and row[0] > 2 for key, row in found.items())


def test_cells_made_all_at_once_are_the_same(runs):
    for edition in EDITIONS:
        fill_cells(edition, [run.pk for run in runs])
    assert stored() == plain()


def test_cells_follow_runs_that_are_held_and_accepted_again(runs):
    accepted = Run.objects.filter(pk__in=[run.pk for run in runs if run.state == "accepted"])
    for state in ("accepted", "held", "accepted"):
        accepted.update(state=state)
        for run in runs:
            refresh_summaries(run)
        assert stored() == plain()
        assert bool(stored()) == (state == "accepted")
