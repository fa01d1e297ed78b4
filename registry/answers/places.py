"""Settings of any pump model and revision, as documents name them."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

from registry.answers.blocks import Block, distinct
from registry.answers.narrowing import rig_labels
from registry.answers.setting import AROUND, PLACE
from registry.answers.wording import counted
from registry.models import PumpModel, Revision
from registry.statistics.precision import ENOUGH_CLINICS, ENOUGH_UNITS

# The key of a revision that is not known.
UNKNOWN_REVISION = -1


class Place(NamedTuple):
    """A setting of one build, with what it was measured with; its revision may be UNKNOWN_REVISION."""

    pump_model: int
    revision: int
    mode: str
    programme: str
    level: str
    side: str
    rig: int
    power: str
    elevation: str

    @property
    def around(self) -> tuple[str | int, ...]:
        """What it was measured with."""
        return tuple(getattr(self, name) for name in AROUND)


@dataclass(frozen=True)
class Names:
    """What the keys in the table stand for."""

    models: Mapping[int, str]
    revisions: Mapping[int, str]
    rigs: Mapping[int, str]


def by_place(blocks: Iterable[Block]) -> dict[Place, dict[str, Block]]:
    """The summaries of each place, by metric."""
    found: dict[Place, dict[str, Block]] = {}
    for block in blocks:
        place = Place(block.pump_model, block.revision, *block.setting.place)
        found.setdefault(place, {})[block.setting.metric] = block
    return found


def counts_of(blocks: Iterable[Block]) -> tuple[int, int]:
    """Units and clinics of the metric that has fewest."""
    counted = [(distinct([block], "unit"), distinct([block], "clinic")) for block in blocks]
    return min(len(units) for units, _ in counted), min(len(clinics) for _, clinics in counted)


def names_in(blocks: Sequence[Block], pump_model: PumpModel | None) -> Names:
    """The names of what the summaries hold: three queries at most, one where a pump model was asked for."""
    keys = {block.pump_model for block in blocks}
    if pump_model is None:
        models = dict(PumpModel.objects.filter(pk__in=keys).values_list("pk", "name"))
        labels = Revision.objects.filter(pk__in={block.revision for block in blocks})
        revisions = dict(labels.values_list("pk", "label"))
    else:
        models = {pump_model.pk: pump_model.name}
        revisions = {revision.pk: revision.label for revision in pump_model.revisions.all()}
    return Names(models, revisions, rig_labels(blocks))


@dataclass(frozen=True)
class Named:
    """A place as documents name it."""

    place: Place
    model: str
    revision: str | None
    rig: str

    def shown(self) -> dict[str, Any]:
        """Where a row of a document belongs."""
        at = dict(zip(PLACE, self.place[2:], strict=True))
        return {"model": self.model, "revision": self.revision, **at, "rig": self.rig}


def named(place: Place, names: Names) -> Named:
    """The place with what its keys stand for."""
    revision = names.revisions.get(place.revision)
    return Named(place, names.models[place.pump_model], revision, names.rigs[place.rig])


# Enough units and clinics, and still nothing that tells units from gauges.
UNTOLD = "more units measured with one gauge"


def lacking(units: int, clinics: int) -> str:
    """What is missing in words below what a distribution needs; nothing where there is enough."""
    wanted = ((ENOUGH_UNITS - units, "more unit"), (ENOUGH_CLINICS - clinics, "more clinic"))
    return ", ".join(counted(lack, what) for lack, what in wanted if lack > 0)


def build_of(row: Mapping[str, Any], *, with_model: bool) -> str:
    """A build in words, with its model where several are asked about."""
    build = f"revision {row['revision']}" if row["revision"] else "unknown revision"
    return f"{row['model']} {build}" if with_model else build
