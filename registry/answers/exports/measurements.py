"""The community's measurements of a pump model: one row a run and metric."""

from collections.abc import Iterator
from datetime import UTC, datetime
from itertools import groupby, islice
from operator import itemgetter
from typing import Any

from django.contrib.postgres.expressions import ArraySubquery
from django.db.models import OuterRef, QuerySet, TextField, Value
from django.utils import timezone

from registry.answers import cautions
from registry.answers.exports.columns import Row, count, number, text, time
from registry.answers.exports.selection import Selection, select
from registry.answers.exports.table import Filled
from registry.errors import TooLarge
from registry.models import Finding, Measurement, Run, RunState
from registry.waveform.editions import edition_of

# What a server makes in about a minute; past it a person is better served by parts.
MOST_ROWS = 2_000_000
ROWS_A_CHUNK = 10_000
RUNS_A_FETCH = 1_000

_OF_RUN = {
    "pump_model": ("pump_model__name", "name the pump is sold under"),
    "serial": ("unit__serial", "the unit's serial number"),
    "revision": ("unit__revision__label", "build the unit is taken to be of; empty when not known"),
    "revision_basis": ("unit__revision_basis", "what that rests on: declared, observed or unknown"),
    "asserted_revision": ("asserted__label", "build the clinic named with this run"),
    "firmware": ("firmware", "firmware as the clinic read it"),
    "clinic": ("clinic__code", "code of the clinic that recorded the run"),
    "gauge": ("session__gauge_code", "the clinic's code of the gauge; empty when none was named"),
    "power": ("session__power", "mains or battery; empty when not said"),
    "mode": ("mode", "stimulation or expression"),
    "programme": ("programme", "the pump's programme; empty when it has none"),
    "level": ("level", "level the pump was set to"),
    "side": ("side", "side of a double pump: single, left or right"),
    "protector": ("rig__protector", "backflow protector between pump and gauge"),
    "valve": ("rig__valve", "valve"),
    "tubing": ("rig__tubing", "tubing"),
}
_MEASURED = ("run_id", "metric", "unit", "value", "u", "u_random", "u_systematic", "parts")
_PARTS = {
    "accuracy": "the gauge's limit of error",
    "resolution": "the gauge's resolution",
    "calibration": "the gauge's calibration",
    "zero": "its reading at open air",
    "clock": "the logger's clock",
    "sampling": "time between samples",
    "scatter": "cycles that differ from each other",
}


class Measurements:
    """Measurements of the runs of one pump model. Nothing that people wrote or that names an operator."""

    name = "measurements"
    description = "one row a run and metric; figures are in `unit`"
    columns = (
        count("run", "number of the run, as in /api/v1/runs"),
        count("edition", "edition of the metric definitions"),
        text("state", "accepted counts in answers; held and withdrawn do not"),
        text("held_by", "codes of the findings that hold a run which is not accepted"),
        *(text(name, says) for name, (_, says) in _OF_RUN.items()),
        number("flange_mm", "flange size", "mm"),
        number("load_ml", "load volume between pump and gauge", "mL"),
        time("recorded_at", "when the run was recorded; empty when not said"),
        time("received_at", "when it was uploaded"),
        text("metric", "what was measured"),
        text("unit", "unit of the row's figures"),
        number("value", "the metric's value"),
        number("uncertainty", "its combined standard uncertainty"),
        number("u_random", "the part of it that shrinks over repeats"),
        number("u_systematic", "the part that all runs by the same gauge share"),
        *(number(f"u_{part}", f"the part from {whence}; empty when none") for part, whence in _PARTS.items()),
    )

    def fill(self, **asked: Any) -> Filled:
        """Return the rows by run and metric; see `selection.select` for what can be asked and what it raises.

        Raises TooLarge where there may be more than MOST_ROWS.
        """
        selection = select(**asked)
        _check_size(selection)
        return Filled(
            model=selection.pump_model.name,
            edition=selection.edition,
            as_of=timezone.now(),
            chunks=_chunks(selection),
            cautions=cautions.DISTRIBUTIONS,
        )


def _check_size(selection: Selection) -> None:
    """Count no further than needed, so that a model of any size is refused in a moment."""
    metrics = 1 if selection.metric else len(edition_of(selection.edition).metrics)
    most = MOST_ROWS // metrics
    if selection.runs.order_by()[: most + 1].count() > most:
        raise TooLarge(
            f"More than {most} runs with {metrics} rows each; one export has at most {MOST_ROWS} rows",
            hint="Ask for part of it: one metric, mode, level or revision, or runs received since and until.",
            extra={"most_rows": MOST_ROWS},
        )


def _chunks(selection: Selection) -> Iterator[list[Row]]:
    """Two database cursors run side by side, so a run's own columns are fetched once and not per metric."""
    rows = _rows(selection)
    while chunk := list(islice(rows, ROWS_A_CHUNK)):
        yield chunk


def _rows(selection: Selection) -> Iterator[Row]:
    of_runs = groupby(_measured(selection), key=itemgetter(0))
    measured_of, measured = next(of_runs, (None, iter(())))
    for run in _runs(selection).iterator(chunk_size=RUNS_A_FETCH):
        if run[0] != measured_of:  # it could not be measured under this edition
            continue
        before = _before_metric(run, selection.edition)
        for row in measured:
            parts = row[-1]
            yield (*before, *row[1:-1], *(parts.get(part) for part in _PARTS))
        measured_of, measured = next(of_runs, (None, iter(())))


def _measured(selection: Selection) -> Iterator[Row]:
    of_edition: QuerySet[Measurement] = Measurement.objects.filter(
        edition=selection.edition, **{f"run__{name}": value for name, value in selection.where.items()}
    )
    if selection.metric:
        of_edition = of_edition.filter(metric=selection.metric)
    ordered = of_edition.order_by("run_id", "metric").values_list(*_MEASURED)
    return ordered.iterator(chunk_size=ROWS_A_CHUNK)


def _runs(selection: Selection) -> QuerySet[Run, Row]:
    holding = Finding.objects.filter(run=OuterRef("pk"), edition=selection.edition, severity="hold")
    codes = ArraySubquery(holding.order_by("code").values("code"))
    needs_codes = selection.where.get("state") != RunState.ACCEPTED
    return (
        selection.runs.annotate(holding=codes if needs_codes else Value(None, TextField()))
        .order_by("id")
        .values_list(
            "id",
            "state",
            "holding",
            *(path for path, _ in _OF_RUN.values()),
            "rig__flange_mm",
            "rig__load_ml",
            "recorded_at",
            "created_at",
        )
    )


def _before_metric(run: Row, edition: int) -> Row:
    """What all rows of a run begin with."""
    number_, state, holding, *rest, recorded_at, received_at = run
    codes = "" if state == RunState.ACCEPTED else " ".join(dict.fromkeys(holding or ()))
    return (number_, edition, state, codes, *rest, _utc(recorded_at), _utc(received_at))


def _utc(moment: datetime | None) -> datetime | None:
    return moment.astimezone(UTC) if moment else None
