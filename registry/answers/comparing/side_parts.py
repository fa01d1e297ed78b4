"""What revisions, and the commonest firmwares, were measured at: kept as parts, so that a comparison of any
of them with anything needs no summing up."""

import json
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, NamedTuple

import numpy as np
from django.db.models import Count

from registry.answers.blocks import Block, Keys, summary_blocks
from registry.answers.comparing.groups import GROUPS, MAIN, group_of, metrics_of
from registry.answers.comparing.sides import Marks, Side, Sides, firmware_blocks
from registry.answers.filters import CannotTell
from registry.answers.keeping.held import Held
from registry.answers.keeping.parts import PartKind
from registry.answers.keeping.sections import Section, packed, unpacked
from registry.answers.keeping.written import written
from registry.answers.narrowing import Narrowed, rig_labels
from registry.answers.setting import Setting
from registry.models import Revision, Run, RunState
from registry.statistics.robust import Floats

_WHO = ("unit", "clinic", "gauge")
_VALUES = ("runs", "mean", "squares", "random", "systematic")
# Of firmwares the main metrics of so many are made ahead, since their runs are summed up one by one.
MOST_FIRMWARES = 6
# So many bytes of parts a process holds as they are read, which are some three times as many.
_MOST_HELD = 16 << 20


class Read(NamedTuple):
    """The summaries of both sides, and the labels of the rigs in them as far as they are kept beside."""

    old: Sequence[Block]
    new: Sequence[Block]
    known: Mapping[int, str]

    @property
    def labels(self) -> Mapping[int, str]:
        """The labels of all rigs in them. One query where any is not known."""
        rigs = {block.setting.rig for side in (self.old, self.new) for block in side}
        return self.known if self.known.keys() >= rigs else rig_labels(self.old, self.new)


def read_sides(sides: Sides, asked: Narrowed, moment: datetime | None = None) -> Read:
    """Return the summaries of both sides that are asked for, of any rig: as kept, else as they are now.

    Raises Invalid where nothing that fits names a firmware.
    """
    try:
        kept = kept_sides(sides, asked) if moment is None else None
    except CannotTell:
        kept = None
    if kept is not None:
        return kept
    old, new = sides.blocks(asked.where, moment)
    return Read(old, new, {})


def kept_sides(sides: Sides, asked: Narrowed) -> Read | None:
    """The same from parts; None where one is missing or out of date. One query, and one of a unit that is of
    no known build. Raises CannotTell where the database has to tell what is asked for."""
    both = (sides.old, sides.new)
    whose = [_whose(side) for side in both]
    read = _parts(sides, asked, {one for one in whose if one})
    if read is None:
        return None
    labels = {key: label for of in read.values() for part in of for key, label in part.labels}
    old, new = (
        _chosen(read[one], sides.pump_model.pk, asked, side.marks(other))
        if one
        else _of_unit(side, sides, asked)
        for side, other, one in zip(both, both[::-1], whose, strict=True)
    )
    if not all(blocks for side, blocks in zip(both, (old, new), strict=True) if side.firmware is not None):
        return None
    return Read(old, new, labels)


def _of_unit(side: Side, sides: Sides, asked: Narrowed) -> Sequence[Block]:
    return summary_blocks(pump_model=sides.pump_model, unit=side.unit, **asked.where)


def _chosen(parts: Iterable["_Part"], model: int, asked: Narrowed, marks: Marks | None) -> list[Block]:
    """The summaries of some parts that are asked for, of the units marked or of all."""
    chosen, band = asked.chosen(), asked.elevation

    def is_asked(setting: Setting) -> bool:
        return band in (None, setting.elevation) and chosen(setting)

    crowds = (crowd for part in parts for crowd in part.crowds(asked.metrics))
    return [block for crowd in crowds for block in crowd.blocks(model, is_asked, marks)]


def _whose(side: Side) -> str | None:
    """Whose summaries hold those of a side: its own, or its build's; None of a unit of no known build."""
    if side.firmware is not None:
        return f"firmware:{side.firmware.upper()}" if side.firmware.isascii() else "firmware:"
    return None if side.revision is None else f"revision:{side.revision}"


def _parts(sides: Sides, asked: Narrowed, whose: set[str]) -> dict[str, list["_Part"]] | None:
    groups = {group_of(metric) for metric in asked.metrics}
    keys = [f"{one}:{group}" for one in whose for group in groups]
    found = _HELD.fresh_of(asked.edition, keys, sides.pump_model.pk) if keys else {}
    if not keys or len(found) < len(keys):
        return None
    return {one: [found[f"{one}:{group}"] for group in groups] for one in whose}


def pack(blocks: Sequence[Block], labels: Mapping[int, str]) -> bytes:
    """Write summaries down, metric by metric."""
    metrics = sorted({block.setting.metric for block in blocks})
    texts = [written([metrics, [[key, label] for key, label in labels.items()]])]
    for metric in metrics:
        texts += _packed([block for block in blocks if block.setting.metric == metric])
    return packed(texts)


def _packed(blocks: Sequence[Block]) -> list[bytes]:
    """Who read what is written once for all settings at which it was the same."""
    alike: dict[bytes, list[Block]] = defaultdict(list)
    for block in blocks:
        alike[block.who].append(block)
    head = [[of[0].mean.size, [[block.revision, block.setting] for block in of]] for of in alike.values()]
    who = [getattr(of[0], name) for of in alike.values() for name in _WHO]
    values = [getattr(block, name) for of in alike.values() for block in of for name in _VALUES]
    return [
        written(head),
        np.concatenate(who).astype("<i8").tobytes(),
        np.concatenate(values).astype("<f8").tobytes(),
    ]


class _Part:
    """The summaries of a part, read metric by metric when they are first wanted."""

    def __init__(self, body: bytes) -> None:
        self._sections = unpacked(body)
        self._metrics, self.labels = json.loads(self._sections[0].text)
        self._read: dict[str, list[_Crowd]] = {}

    def crowds(self, metrics: Sequence[str]) -> Iterator["_Crowd"]:
        """Those of some metrics."""
        for place, metric in enumerate(self._metrics):
            if metric in metrics:
                if metric not in self._read:
                    self._read[metric] = list(_crowds(self._sections[1 + 3 * place : 4 + 3 * place]))
                yield from self._read[metric]


@dataclass(frozen=True)
class _Crowd:
    """The summaries of all settings that were read by the same: `of` has the revision and the setting of
    each, `who` a row for units, clinics and gauges, `values` are settings by columns by rows."""

    of: Sequence[tuple[int, Setting]]
    who: Keys
    values: Floats

    def blocks(self, model: int, chosen: Callable[[Setting], bool], marks: Marks | None) -> list[Block]:
        """Those of the settings chosen, of the units marked or of all."""
        at = [place for place, (_, setting) in enumerate(self.of) if chosen(setting)]
        who, values = self.who, self.values
        if marks is not None:
            kept = np.flatnonzero(marks(who[0]))
            who, values = who.take(kept, axis=1), values.take(kept, axis=2)
        if not who.size:
            return []
        unit, clinic, gauge = who
        blocks = [Block(model, *self.of[place], unit, clinic, gauge, *values[place]) for place in at]
        for block in blocks:
            # Worked out once for all of them.
            vars(block)["who"] = blocks[0].who
        return blocks


def _crowds(sections: Sequence[Section]) -> Iterator[_Crowd]:
    head, keys, numbers = (section.text for section in sections)
    who, values = np.frombuffer(keys, "<i8"), np.frombuffer(numbers, "<f8")
    for size, settings in json.loads(head):
        end = len(settings) * len(_VALUES) * size
        of = tuple((revision, Setting(*setting)) for revision, setting in settings)
        yield _Crowd(of, who[: len(_WHO) * size].reshape(-1, size), values[:end].reshape(len(of), -1, size))
        who, values = who[len(_WHO) * size :], values[end:]


def _make(model: int, edition: int, key: str) -> bytes:
    one, _, group = key.rpartition(":")
    kind, _, name = one.partition(":")
    where: dict[str, Any] = {"edition": edition, "metric__in": metrics_of(group, edition)}
    if kind == "revision":
        blocks = summary_blocks(**where, pump_model=model, unit__revision=int(name))
    else:
        blocks = firmware_blocks(model, name, where)
    return pack(blocks, rig_labels(blocks))


def _keys(model: int, edition: int) -> Iterator[str]:  # noqa: ARG001 - the same for all editions
    for revision in Revision.objects.filter(pump_model=model).order_by("order", "pk"):
        yield from (f"revision:{revision.pk}:{group}" for group in GROUPS)
    yield from (f"firmware:{tag}:{MAIN}" for tag in common_firmwares(model))


def common_firmwares(model: int) -> list[str]:
    """The firmwares that most accepted runs of a model name, in capitals, the commonest first."""
    runs = Run.objects.filter(pump_model=model, state=RunState.ACCEPTED).exclude(firmware="").order_by()
    tags = runs.values_list("firmware").annotate(n=Count("id")).order_by("-n", "firmware")
    common = {tag.upper(): None for tag, _ in tags if tag.isascii()}
    return list(common)[:MOST_FIRMWARES]


READINGS = PartKind("readings", _make, _keys)
_HELD = Held(READINGS, _Part, _MOST_HELD)
