"""The community's measurements of a pump model: one row a run and metric."""

from collections.abc import Iterator
from datetime import UTC, datetime
from itertools import groupby, islice
from math import inf
from operator import itemgetter
from typing import Any

from django.contrib.postgres.expressions import ArraySubquery
from django.db.models import OuterRef, TextField, Value
from django.utils import timezone

from registry.answers import cautions
from registry.answers.exports.columns import Row, count, number, text, time
from registry.answers.exports.selection import Selection, select
from registry.answers.exports.table import Filled
from registry.errors import TooLarge
from registry.models import Finding, RunState
from registry.waveform.editions import edition_of

# What a server makes in about a minute; past it a person is better served by parts.
MOST_ROWS = 2_000_000
ROWS_A_CHUNK = 10_000
RUNS_A_FETCH = 1_000

_OF_RUN = {
    "pump_model": ("pump_model__name", "name the pump is sold under"),
    "serial": ("unit__serial", "the unit's serial number"),
    "revision": ("unit__revision__label", "build the unit is taken to be of; empty when not known"),
    "revision_basis": (
        "unit__revision_basis",
        "what that rests on: declared, observed or unknown; empty for a past time since when it changed",
    ),
    "asserted_revision": ("asserted__label", "build the clinic named with this run"),
    "firmware": ("firmware", "firmware as the clinic read it"),
    "clinic": ("clinic__code", "code of the clinic that recorded the run"),
    "gauge": ("session__gauge_code", "the clinic's code of the gauge; empty when none was named"),
    "power": ("session__power", "mains or battery; empty when not said"),
    "elevation": ("session__elevation", "band of elevation; empty when not said"),
    "mode": ("mode", "stimulation or expression"),
    "programme": ("programme", "the pump's programme; empty when it has none"),
    "level": ("level", "level the pump was set to"),
    "side": ("side", "side of a double pump: single, left or right"),
    "protector": ("rig__protector", "backflow protector between pump and gauge"),
    "valve": ("rig__valve", "valve"),
    "tubing": ("rig__tubing", "tubing"),
}
_MEASURED = ("run_id", "metric", "unit", "value", "u", "u_random", "u_systematic", "parts")
_FIGURES_OF_RUN = ("rig__flange_mm", "rig__load_ml", "recorded_at", "created_at")
_REVISION = list(_OF_RUN).index("revision")
_NONE_LEFT: tuple[float, Iterator[Row]] = (inf, iter(()))
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
    cautions = cautions.DISTRIBUTIONS
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
            as_of=selection.moment or timezone.now(),
            chunks=_chunks(selection),
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
    measured_of, measured = next(of_runs, _NONE_LEFT)
    for run in _runs(selection):
        while measured_of < run[0]:  # measurements of a run that did not count at that time
            measured_of, measured = next(of_runs, _NONE_LEFT)
        if measured_of != run[0]:  # the run could not be measured under this edition
            continue
        for row in measured:
            parts = row[-1]
            yield (*run, *row[1:-1], *(parts.get(part) for part in _PARTS))


def _measured(selection: Selection) -> Iterator[Row]:
    ordered = selection.measured.order_by("run_id", "metric").values_list(*_MEASURED)
    return ordered.iterator(chunk_size=ROWS_A_CHUNK)


def _runs(selection: Selection) -> Iterator[Row]:
    """What all rows of a run begin with, run by run."""
    holding = Finding.objects.filter(run=OuterRef("pk"), edition=selection.edition, severity="hold")
    codes = ArraySubquery(holding.order_by("code").values("code"))
    needs_codes = selection.state != RunState.ACCEPTED
    held = selection.runs.annotate(holding=codes if needs_codes else Value(None, TextField()))
    paths = (path for path, _ in _OF_RUN.values())
    columns = ("unit_id", "id", selection.state_column, "holding", *paths, *_FIGURES_OF_RUN)
    corrected = _corrected(selection)
    for run in held.order_by("id").values_list(*columns).iterator(chunk_size=RUNS_A_FETCH):
        unit, number_, state, codes_, *texts, flange, load, recorded_at, received_at = run
        if unit in corrected:
            texts[_REVISION : _REVISION + 2] = corrected[unit]
        said = "" if state == RunState.ACCEPTED else " ".join(dict.fromkeys(codes_ or ()))
        times = _utc(recorded_at), _utc(received_at)
        yield (number_, selection.edition, state, said, *texts, flange, load, *times)


def _corrected(selection: Selection) -> dict[int, tuple[str | None, None]]:
    """Revision and basis at a past time of the units that changed since; what the basis was is not kept."""
    if not selection.before:
        return {}
    labels = dict(selection.pump_model.revisions.values_list("pk", "label"))
    return {unit: (labels.get(key or 0), None) for unit, key in selection.before.items()}


def _utc(moment: datetime | None) -> datetime | None:
    return moment.astimezone(UTC) if moment else None
