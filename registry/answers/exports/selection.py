"""Which runs' measurements somebody asks for."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.db.models import Q, QuerySet

from registry.answers.filters import (
    chosen_elevation,
    chosen_level,
    chosen_metric,
    chosen_mode,
    chosen_power,
    chosen_programme,
    is_rig,
)
from registry.answers.past import revisions_before, runs_at
from registry.answers.stamp import chosen_edition, chosen_moment
from registry.models import Measurement, PumpModel, Revision, Rig, Run, RunState
from registry.models.lookup import find_clinic, find_pump_model, find_revision, known_gauge
from registry.models.serials import bare, tidy

ANY = "any"


@dataclass(frozen=True)
class Selection:
    """Runs of a model whose measurements of an edition (and of one metric) are wanted.

    `where` are filters on Run that hold at all times. State and revision are those of `moment`, None being
    now; `before` has the revision then of each unit whose revision changed since.
    """

    pump_model: PumpModel
    edition: int
    metric: str | None
    state: str | None
    revision: Revision | None
    where: Mapping[str, Any]
    moment: datetime | None = None
    before: Mapping[int, int | None] = field(default_factory=dict)

    @property
    def runs(self) -> QuerySet[Run]:
        """The runs; `state_column` of each is the state it was in."""
        given = {**self.where, **({self.state_column: self.state} if self.state else {})}
        found = runs_at(self.moment).filter(**given)
        return found.filter(self._of_revision()) if self.revision else found

    @property
    def state_column(self) -> str:
        """Where the state at that time is found on a run."""
        return "then" if self.moment else "state"

    def _of_revision(self) -> Q:
        then = [
            unit for unit, revision in self.before.items() if self.revision and revision == self.revision.pk
        ]
        return Q(unit__in=then) | (Q(unit__revision=self.revision) & ~Q(unit__in=list(self.before)))

    @property
    def measured(self) -> QuerySet[Measurement]:
        """Measurements of all these runs; for a past time also of some others."""
        given = dict(self.where)
        if self.moment is None:
            now = {"state": self.state, "unit__revision": self.revision}
            given |= {name: value for name, value in now.items() if value is not None}
        if self.metric:
            return Measurement.objects.filter(
                edition=self.edition, metric=self.metric, **_below("run__", given)
            )
        return Measurement.objects.filter(edition=self.edition, **_below("run__", given))


def select(  # noqa: PLR0913 - one parameter a filter of the question
    model: str,
    *,
    edition: int | None = None,
    metric: str | None = None,
    state: str = RunState.ACCEPTED,
    revision: str | None = None,
    serial: str | None = None,
    clinic: str | None = None,
    gauge: str | None = None,
    mode: str | None = None,
    programme: str | None = None,
    level: str | None = None,
    power: str | None = None,
    elevation: str | None = None,
    rig: str | None = None,
    since: datetime | None = None,
    until: datetime | None = None,
    as_of: datetime | None = None,
) -> Selection:
    """Return the selection; what is not given does not narrow it, but for `state`: one of RunState or ANY.

    `since` and `until` bound when runs were received, the first included and the second not. `edition` is
    the current one unless given. With `as_of`, a past time, states and revisions are those of that time.

    Raises UnknownPumpModel, and Invalid on the field of a name that is not known.
    """
    pump_model = find_pump_model(model)
    number, moment = chosen_edition(edition), chosen_moment(as_of)
    where = {
        "pump_model": pump_model,
        "unit__serial__in": [tidy(serial), bare(serial)] if serial else None,
        "clinic": find_clinic(clinic) if clinic else None,
        "session__gauge_code__iexact": known_gauge(gauge) if gauge else None,
        "mode": chosen_mode(mode),
        "programme__iexact": chosen_programme(programme),
        "level__iexact": chosen_level(level),
        "session__power": chosen_power(power),
        "session__elevation": chosen_elevation(elevation),
        "rig__in": _rigs(rig),
        "created_at__gte": since,
        "created_at__lt": until,
    }
    given = {name: value for name, value in where.items() if value is not None}
    return Selection(
        pump_model,
        number,
        chosen_metric(metric, number),
        None if state == ANY else state,
        find_revision(pump_model, revision) if revision else None,
        given,
        moment,
        revisions_before(pump_model.pk, moment) if moment else {},
    )


def _below(prefix: str, filters: Mapping[str, Any]) -> dict[str, Any]:
    return {f"{prefix}{name}": value for name, value in filters.items()}


def _rigs(wanted: str | None) -> list[int] | None:
    """Keys of the rigs that bear this label or part; None where none is asked for."""
    if not wanted or not wanted.strip():
        return None
    return [rig.pk for rig in Rig.objects.all() if is_rig(rig.label, wanted)]
