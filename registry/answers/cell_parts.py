"""The cells of a pump model as parts that are kept: one of each metric, and one of what all of them share."""

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from registry.answers.cells import Narrowed, Readers, present, readers
from registry.answers.figures import Names, Tellings, Told, readers_mark, worked_out
from registry.answers.kept_parts import PartKind, fresh_of
from registry.answers.left_out import Left, left
from registry.answers.sections import Section, packed, unpacked
from registry.answers.written import written
from registry.models import PumpModel, Rig

_SHARED = ""


class Crowd:
    """Who read in the cells of a pump model, by the mark of each cell's readers."""

    def __init__(self, readers: Mapping[str, Readers]) -> None:
        self._readers = readers

    def count(self, marks: Iterable[str]) -> tuple[int, int]:
        """How many units and clinics there are behind these marks, each once."""
        of = [self._readers[mark] for mark in set(marks)]
        units, clinics = (set[int]().union(*(one[which] for one in of)) for which in (0, 1))
        return len(units), len(clinics)

    @classmethod
    def read(cls, marks: Section, keys: Section) -> "Crowd":
        """What `written` made."""
        found, place = {}, 0
        numbers = np.frombuffer(keys.text, np.int64).tolist()
        for mark, units, clinics in json.loads(marks.text):
            last = place + units + clinics
            found[mark] = Readers(tuple(numbers[place : place + units]), tuple(numbers[place + units : last]))
            place = last
        return cls(found)

    def written(self) -> tuple[bytes, bytes]:
        """Marks with how many keys of each are there, and all keys."""
        marks = [(mark, len(one.units), len(one.clinics)) for mark, one in self._readers.items()]
        keys = [key for one in self._readers.values() for key in (*one.units, *one.clinics)]
        return written(marks), np.array(keys, np.int64).tobytes()


@dataclass(frozen=True)
class Shared:
    """What cells of a pump model share: metrics and readers; and the runs in none of them and their rigs."""

    metrics: list[str]
    rigs: Mapping[int, str]
    left: list[Left]
    _marks: Section
    _keys: Section

    @classmethod
    def read(cls, body: bytes) -> "Shared":
        """What `_make_shared` made."""
        first, marks, keys = unpacked(body)
        metrics, rigs, rows = json.loads(first.text)
        return cls(metrics, dict(rigs), [Left(*row) for row in rows], marks, keys)

    @cached_property
    def crowd(self) -> Crowd:
        """Who read in the cells."""
        return Crowd.read(self._marks, self._keys)


def kept_cells(narrowed: Narrowed) -> tuple[Shared, list[Told]] | None:
    """The cells within a question as they are kept; None where they are missing or out of date. One query."""
    keys = None if narrowed.metric is None else [_SHARED, narrowed.metric]
    found = fresh_of(CELLS, narrowed.edition, keys, [narrowed.pump_model])
    bodies = {key: body for (_, key), body in found.items()}
    if _SHARED not in bodies:
        return None
    shared = Shared.read(bodies[_SHARED])
    metrics = [metric for metric in shared.metrics if narrowed.metric in (None, metric)]
    if not bodies.keys() >= set(metrics):
        return None
    try:
        told = [
            one for metric in metrics for one in Tellings.read(bodies[metric]) if narrowed.takes(one.cell)
        ]
        rows = [row for row in shared.left if narrowed.takes(row)]
    except ValueError:
        return None
    return replace(shared, left=rows), told


def names_of(pump_model: PumpModel, rigs: Iterable[int] | None) -> Names:
    """The names of a model, its revisions in order, and those rigs, or all there are."""
    revisions = sorted(pump_model.revisions.all(), key=lambda revision: revision.order)
    found = Rig.objects.all() if rigs is None else Rig.objects.filter(pk__in=set(rigs))
    return Names(
        pump_model.name,
        {revision.pk: revision.label for revision in revisions},
        {one.pk: one.label for one in found},
    )


def _make(model: int, edition: int, key: str) -> bytes:
    return _make_shared(model, edition) if key == _SHARED else _make_metric(model, edition, key)


def _make_metric(model: int, edition: int, metric: str) -> bytes:
    groups = present(Narrowed(model, edition, metric=metric))
    names = names_of(PumpModel.objects.get(pk=model), {group.setting.rig for group in groups})
    return worked_out(groups, names, detailed=True).packed()


def _make_shared(model: int, edition: int) -> bytes:
    found = readers(model, edition)
    rows = left(Narrowed(model, edition), None)
    rigs = [(rig.pk, rig.label) for rig in Rig.objects.filter(pk__in={row.rig for row in rows})]
    metrics = sorted({metric for metric, _ in found})
    crowd = Crowd({readers_mark(one): one for _, one in found})
    return packed([written([metrics, rigs, rows]), *crowd.written()])


def _keys(model: int, edition: int) -> list[str]:
    return [_SHARED, *sorted({metric for metric, _ in readers(model, edition)})]


CELLS = PartKind("cells", _make, _keys)
