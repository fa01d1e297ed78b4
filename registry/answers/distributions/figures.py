"""Cells as answers write them, worked out once for all that may be asked of them."""

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from hashlib import blake2b
from typing import Any, NamedTuple

import numpy as np

from registry.answers.anonymous import anonymous_code
from registry.answers.cells import Group, Readers
from registry.answers.keeping.sections import Ready, Section, packed, unpacked
from registry.answers.keeping.written import written
from registry.answers.setting import order_around, order_of_mode
from registry.answers.wording import figure, natural
from registry.models import Clinic, Unit
from registry.statistics.domains import domain_of
from registry.statistics.precision import Precision, summarise_all

_UNTOLD = b'"influence":null,"reined_units":null'


@dataclass(frozen=True)
class Names:
    """What the keys of a pump model's cells stand for. Revisions are in their order."""

    model: str
    revisions: Mapping[int, str]
    rigs: Mapping[int, str]


class Cell(NamedTuple):
    """What cells are chosen, put in order and counted by; and where their texts end.

    `place` is that of the revision among those of the model, `label` that of the rig, `readers` stands for
    who read in it; `carried` tells that one clinic or two carry the centre.
    """

    place: int
    revision: int | None
    mode: str
    programme: str
    level: str
    side: str
    rig: int
    power: str
    elevation: str
    metric: str
    unit: str
    label: str
    thin: bool
    carried: bool
    runs: int
    readers: str
    figures: int
    details: int

    @property
    def order(self) -> tuple[Any, ...]:
        """Builds in order with the unknown last, then setting by setting as a pump counts them."""
        at = _order_at(self.mode, self.programme, self.level)
        around = _order_around(self.label, self.power, self.elevation, self.side)
        return self.place, *at, self.metric, *around, self.unit


# A model has few places and many metrics at each.
@lru_cache(1024)
def _order_at(mode: str, programme: str, level: str) -> tuple[Any, ...]:
    return order_of_mode(mode), natural(programme), natural(level)


@lru_cache(1024)
def _order_around(rig: str, power: str, elevation: str, side: str) -> tuple[Any, ...]:
    return order_around({"rig": rig, "power": power, "elevation": elevation, "side": side})


@dataclass(frozen=True)
class Told:
    """One cell with its figures as JSON members; each clinic's influence and reined units are beside."""

    cell: Cell
    figures: bytes
    details: Section
    where: slice

    def text(self, *, detailed: bool, own: Clinic | None) -> bytes:
        """The cell as a document has it. `own` sees its own influence by name."""
        details = self._details(own) if detailed else _UNTOLD
        return b"{" + self.figures + b"," + details + b"}"

    def _details(self, own: Clinic | None) -> bytes:
        clinics, members = self.details.text[self.where].split(b"\n", 1)
        if own is None:
            return members
        keys = json.loads(clinics)
        if own.pk not in keys:
            return members
        document = json.loads(b"{" + members + b"}")
        document["influence"][keys.index(own.pk)].update(clinic=own.code, own=True)
        document["influence"].sort(key=_strongest)
        return written(document)[1:-1]


class Tellings:
    """Cells with their texts: just worked out, or read from what `packed` made of them."""

    def __init__(self, cells: Sequence[Cell], figures: Section, details: Section) -> None:
        self.cells, self._figures, self._details = cells, figures, details

    def __iter__(self) -> Iterator[Told]:
        figures, details, texts = 0, 0, self._figures.text
        for cell in self.cells:
            yield Told(cell, texts[figures : cell.figures], self._details, slice(details, cell.details))
            figures, details = cell.figures, cell.details

    def packed(self) -> bytes:
        """All of it in one body."""
        return packed([written(self.cells), self._figures.text, self._details.text])

    @classmethod
    def read(cls, body: bytes) -> "Tellings":
        """What was packed."""
        cells, figures, details = unpacked(body)
        return cls([Cell(*cell) for cell in json.loads(cells.text)], figures, details)


def worked_out(groups: Sequence[Group], names: Names, *, detailed: bool) -> Tellings:
    """Work out the cells of one pump model, with influence and reined units where that is wanted."""
    tables = [(group.cells, domain_of(group.setting.metric)) for group in groups]
    found = list(zip(groups, summarise_all(tables, with_influence=detailed), strict=True))
    serials = _serials_of_reined(found) if detailed else {}
    places = {revision: place for place, revision in enumerate(names.revisions)}
    figures, details, cells = bytearray(), bytearray(), []
    for group, precision in found:
        figures += written(_figures(group, precision, names))[1:-1]
        if detailed:
            details += _details(group, precision, names, serials)
        cells.append(_cell(group, precision, names, places, len(figures), len(details)))
    return Tellings(cells, Ready(bytes(figures)), Ready(bytes(details)))


def _cell(
    group: Group, precision: Precision, names: Names, places: Mapping[int, int], figures: int, details: int
) -> Cell:
    return Cell(
        places.get(group.revision or 0, len(places)),
        group.revision,
        *group.setting,
        label=names.rigs[group.setting.rig],
        thin=precision.state == "thin",
        carried=precision.carried,
        runs=precision.runs,
        readers=readers_mark(Readers(group.units, group.clinics)),
        figures=figures,
        details=details,
    )


@lru_cache(256)
def readers_mark(readers: Readers) -> str:
    """What stands for units and clinics: the same for the same."""
    digest = blake2b(digest_size=12)
    for keys in readers:
        digest.update(np.array([len(keys), *keys], np.int64).tobytes())
    return digest.hexdigest()


def _figures(group: Group, precision: Precision, names: Names) -> dict[str, Any]:
    return {
        "revision": names.revisions.get(group.revision or 0),
        **group.setting.named(names.rigs),
        **precision_document(precision),
    }


def _serials_of_reined(found: Iterable[tuple[Group, Precision]]) -> dict[int, str]:
    """Serials of all units that were reined in; no query where none was."""
    units = {group.units[code] for group, precision in found for code in precision.reined_units}
    return dict(Unit.objects.filter(pk__in=units).values_list("pk", "serial")) if units else {}


def _details(group: Group, precision: Precision, names: Names, serials: Mapping[int, str]) -> bytes:
    """Each clinic's influence, the strongest first, and the serials of the units reined in.

    The keys of the clinics come before, for the one that may see itself by name.
    """
    influence = [
        {
            "clinic": anonymous_code(key, names.model),
            "own": False,
            "units": one.units,
            "runs": one.runs,
            "apart": figure(one.apart),
            "weight": figure(one.weight),
            "shift": figure(one.shift),
        }
        for key, one in zip(group.clinics, precision.influence, strict=True)
    ]
    ranked = sorted(zip(influence, group.clinics, strict=True), key=lambda pair: _strongest(pair[0]))
    told = {
        "influence": [one for one, _ in ranked],
        "reined_units": sorted(serials[group.units[code]] for code in precision.reined_units),
    }
    return written([key for _, key in ranked]) + b"\n" + written(told)[1:-1]


def _strongest(influence: Mapping[str, Any]) -> tuple[float, str]:
    return -abs(influence["shift"] or 0.0), influence["clinic"]


def precision_document(precision: Precision) -> dict[str, Any]:
    """The figures of a cell under the names of the `distributions` document."""
    return {
        "runs": precision.runs,
        "units": precision.units,
        "clinics": precision.clinics,
        "centre": figure(precision.centre),
        "low": figure(precision.interval.low),
        "high": figure(precision.interval.high),
        "s_repeatability": figure(precision.repeat),
        "s_unit": figure(precision.unit),
        "s_clinic": figure(precision.clinic),
        "s_reproducibility": figure(precision.reproducibility),
        "s_between": figure(precision.between),
        "predict_low": figure(precision.next_unit.low),
        "predict_high": figure(precision.next_unit.high),
        "quantiles": {f"{p:g}": figure(value) for p, value in precision.quantiles.items()},
        "histogram": {"edges": list(precision.histogram.edges), "counts": list(precision.histogram.counts)},
        "state": precision.state,
        "missing": ", ".join(precision.missing),
        "reined": precision.reined,
    }
