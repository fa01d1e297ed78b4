"""The cells of a pump model as parts that are kept: metric by metric, in blocks, and what all share."""

import json
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TypeVar

import numpy as np

from registry.answers.cells import Narrowed, Readers, metrics_of, present, readers
from registry.answers.distributions.about import About, about_model
from registry.answers.distributions.cell_blocks import Block, blocks_packed, blocks_read
from registry.answers.distributions.figures import Names, Tellings, Told, readers_mark, worked_out
from registry.answers.distributions.left_out import Left, left
from registry.answers.filters import CannotTell
from registry.answers.keeping.parts import PartKind, fresh_of
from registry.answers.keeping.sections import Section, packed, unpacked
from registry.answers.keeping.written import written
from registry.models import PumpModel, Rig

One = TypeVar("One")
# Keys of parts besides the metrics.
_SHARED, _BLOCKS = "", "#blocks"


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
    """What cells of a pump model share: names, metrics, readers; and runs in none of them with their rigs."""

    about: About
    metrics: list[str]
    rigs: Mapping[int, str]
    left: list[Left]
    _marks: Section
    _keys: Section

    @classmethod
    def read(cls, body: bytes) -> "Shared":
        """What `_make_shared` made."""
        first, marks, keys = unpacked(body)
        (model, name, revisions), metrics, rigs, rows = json.loads(first.text)
        about = About(model, name, dict(revisions))
        return cls(about, metrics, dict(rigs), [Left(*row) for row in rows], marks, keys)

    @cached_property
    def crowd(self) -> Crowd:
        """Who read in the cells."""
        return Crowd.read(self._marks, self._keys)


@dataclass(frozen=True)
class Kept:
    """Parts of a pump model's cells that were up to date at one moment."""

    shared: Shared
    _bodies: Mapping[str, bytes]

    @classmethod
    def of(cls, pump_model: int, edition: int, metric: str | None) -> "Kept | None":
        """Those that a question about a metric, or all, takes first; None where they are not. One query."""
        metric = (metric or "").strip().casefold()
        if metric and not metric.isidentifier():
            return None
        found = fresh_of(CELLS, edition, [_SHARED, metric or _BLOCKS], [pump_model])
        bodies = {key: body for (_, key), body in found.items()}
        return cls(Shared.read(bodies[_SHARED]), bodies) if _SHARED in bodies else None

    def blocks(self, narrowed: Narrowed, is_rig: Callable[[str], bool]) -> tuple[Shared, list[Block]] | None:
        """The cells within a question as blocks; None where there are none, or one lies partly within."""
        if _BLOCKS not in self._bodies:
            return None
        return _within(
            narrowed,
            self.shared,
            blocks_read(self._bodies[_BLOCKS]),
            lambda block: {narrowed.takes(one) and is_rig(one.label) for one in block.corners},
        )

    def cells(self, narrowed: Narrowed) -> tuple[Shared, list[Told]] | None:
        """The cells within a question one by one; None where some are missing. No query for a metric."""
        if narrowed.metric is None:
            return kept_cells(narrowed)
        return _cells(narrowed, self.shared, self._bodies)


def kept_cells(narrowed: Narrowed) -> tuple[Shared, list[Told]] | None:
    """The cells within a question as they are kept; None where they are missing or out of date. One query."""
    found = fresh_of(CELLS, narrowed.edition, None, [narrowed.pump_model])
    bodies = {key: body for (_, key), body in found.items()}
    return _cells(narrowed, Shared.read(bodies[_SHARED]), bodies) if _SHARED in bodies else None


def _cells(
    narrowed: Narrowed, shared: Shared, bodies: Mapping[str, bytes]
) -> tuple[Shared, list[Told]] | None:
    metrics = [metric for metric in shared.metrics if narrowed.metric in (None, metric)]
    if not bodies.keys() >= set(metrics):
        return None
    told = [one for metric in metrics for one in Tellings.read(bodies[metric])]
    return _within(narrowed, shared, told, lambda one: {narrowed.takes(one.cell)})


def _within(
    narrowed: Narrowed, shared: Shared, found: Iterable[One], takes: Callable[[One], set[bool]]
) -> tuple[Shared, list[One]] | None:
    """What a question takes; None where it takes some of one, or it is for the database to say."""
    chosen = []
    try:
        for one in found:
            taken = takes(one)
            if len(taken) > 1:
                return None
            chosen += [one] * taken.pop()
        rows = [row for row in shared.left if narrowed.takes(row)]
    except CannotTell:
        return None
    return replace(shared, left=rows), chosen


def names_of(about: About, rigs: Iterable[int] | None) -> Names:
    """The names of a model, its revisions in order, and those rigs, or all there are."""
    found = Rig.objects.all() if rigs is None else Rig.objects.filter(pk__in=set(rigs))
    return Names(about.name, about.revisions, {one.pk: one.label for one in found})


def _make(model: int, edition: int, key: str) -> bytes:
    if key == _SHARED:
        return _make_shared(model, edition)
    if key == _BLOCKS:
        return _make_blocks(model, edition)
    return _worked_out(model, edition, key).packed()


def _worked_out(model: int, edition: int, metric: str) -> Tellings:
    groups = present(Narrowed(model, edition, metric=metric))
    names = names_of(about_model(PumpModel.objects.get(pk=model)), {group.setting.rig for group in groups})
    return worked_out(groups, names, detailed=True)


def _make_blocks(model: int, edition: int) -> bytes:
    """From the cells that are kept, which are made before."""
    kept = kept_cells(Narrowed(model, edition))
    metrics = [] if kept else metrics_of(model, edition)
    told = kept[1] if kept else [one for metric in metrics for one in _worked_out(model, edition, metric)]
    return blocks_packed(told)


def _make_shared(model: int, edition: int) -> bytes:
    found = readers(model, edition)
    rows = left(Narrowed(model, edition), None)
    rigs = [(rig.pk, rig.label) for rig in Rig.objects.filter(pk__in={row.rig for row in rows})]
    crowd = Crowd({readers_mark(one): one for one in found})
    said = about_model(PumpModel.objects.get(pk=model))
    names = [said.pk, said.name, list(said.revisions.items())]
    return packed([written([names, metrics_of(model, edition), rigs, rows]), *crowd.written()])


def _keys(model: int, edition: int) -> list[str]:
    return [_SHARED, *metrics_of(model, edition), _BLOCKS]


CELLS = PartKind("cells", _make, _keys)
