"""Which runs' measurements somebody asks for."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import QuerySet

from registry.answers.filters import (
    chosen_level,
    chosen_metric,
    chosen_mode,
    chosen_power,
    chosen_programme,
    is_rig,
)
from registry.answers.stamp import chosen_edition
from registry.models import PumpModel, Rig, Run, RunState
from registry.models.lookup import find_pump_model, find_revision
from registry.models.serials import bare, tidy

ANY = "any"


@dataclass(frozen=True)
class Selection:
    """Runs of a model, by filters on Run, whose measurements of an edition (and of one metric) are wanted."""

    pump_model: PumpModel
    edition: int
    metric: str | None
    where: Mapping[str, Any]

    @property
    def runs(self) -> QuerySet[Run]:
        """The runs."""
        return Run.objects.filter(**self.where)


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
    rig: str | None = None,
    since: datetime | None = None,
    until: datetime | None = None,
) -> Selection:
    """Return the selection; what is not given does not narrow it, but for `state`: one of RunState or ANY.

    `since` and `until` bound when runs were received, the first included and the second not. `edition` is
    the current one unless given; states are those of now.

    Raises UnknownPumpModel, and Invalid on the field of a name that is not known.
    """
    pump_model = find_pump_model(model)
    number = chosen_edition(edition)
    where = {
        "pump_model": pump_model,
        "state": None if state == ANY else state,
        "unit__revision": find_revision(pump_model, revision) if revision else None,
        "unit__serial__in": [tidy(serial), bare(serial)] if serial else None,
        "clinic__code__iexact": clinic,
        "session__gauge_code__iexact": gauge,
        "mode": chosen_mode(mode),
        "programme__iexact": chosen_programme(programme),
        "level__iexact": chosen_level(level),
        "session__power": chosen_power(power),
        "rig__in": _rigs(rig),
        "created_at__gte": since,
        "created_at__lt": until,
    }
    given = {name: value for name, value in where.items() if value is not None}
    return Selection(pump_model, number, chosen_metric(metric, number), given)


def _rigs(wanted: str | None) -> list[int] | None:
    """Keys of the rigs that bear this label or part; None where none is asked for."""
    if not wanted or not wanted.strip():
        return None
    return [rig.pk for rig in Rig.objects.all() if is_rig(rig.label, wanted)]
