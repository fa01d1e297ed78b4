"""What revisions, and the commonest firmwares, were measured at: kept as parts, so that a comparison of any
of them with anything needs no summing up."""

import json
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime
from typing import Any, NamedTuple

import numpy as np
from django.db.models import Count

from registry.answers.blocks import Block, Keys, summary_blocks
from registry.answers.comparing.sides import Marks, Side, Sides, firmware_blocks
from registry.answers.filters import CannotTell
from registry.answers.keeping.parts import PartKind, fresh_of
from registry.answers.keeping.sections import Section, packed, unpacked
from registry.answers.keeping.written import written
from registry.answers.narrowing import MAIN_METRICS, Narrowed, rig_labels
from registry.answers.setting import Setting
from registry.models import Revision, Run, RunState
from registry.statistics.robust import Floats
from registry.waveform.editions import edition_of

# Main metrics and all others are kept apart, since mostly the former alone are asked for.
_MAIN, _REST = "main", "rest"
_WHO = ("unit", "clinic", "gauge")
_VALUES = ("runs", "mean", "squares", "random", "systematic")
# Of firmwares the main metrics of so many are made ahead, since their runs are summed up one by one.
MOST_FIRMWARES = 6


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
        kept = _kept(sides, asked) if moment is None else None
    except CannotTell:
        kept = None
    if kept is not None:
        return kept
    old, new = sides.blocks(asked.where, moment)
    return Read(old, new, {})


def _kept(sides: Sides, asked: Narrowed) -> Read | None:
    """The same from parts; None where one is missing or out of date. One query, and one of a unit that is of
    no known build."""
    both = (sides.old, sides.new)
    whose = [_whose(side) for side in both]
    bodies = _bodies(sides, asked, {one for one in whose if one})
    if bodies is None:
        return None
    read = {one: [unpacked(body) for body in of] for one, of in bodies.items()}
    labels = {key: label for of in read.values() for body in of for key, label in _head(body)[1]}
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


def _chosen(
    bodies: Iterable[Sequence[Section]], model: int, asked: Narrowed, marks: Marks | None
) -> list[Block]:
    """The summaries of some parts that are asked for, of the units marked or of all."""
    chosen, band = asked.chosen(), asked.elevation
    found = (block for body in bodies for block in _read(body, model, asked.metrics, marks))
    return [one for one in found if band in (None, one.setting.elevation) and chosen(one.setting)]


def _whose(side: Side) -> str | None:
    """Whose summaries hold those of a side: its own, or its build's; None of a unit of no known build."""
    if side.firmware is not None:
        return f"firmware:{side.firmware.upper()}" if side.firmware.isascii() else "firmware:"
    return None if side.revision is None else f"revision:{side.revision}"


def _bodies(sides: Sides, asked: Narrowed, whose: set[str]) -> dict[str, list[bytes]] | None:
    groups = {_MAIN if metric in MAIN_METRICS else _REST for metric in asked.metrics}
    keys = [f"{one}:{group}" for one in whose for group in groups]
    found = fresh_of(READINGS, asked.edition, keys, [sides.pump_model.pk]) if keys else {}
    if not keys or len(found) < len(keys):
        return None
    return {one: [found[sides.pump_model.pk, f"{one}:{group}"] for group in groups] for one in whose}


def pack(blocks: Sequence[Block], labels: Mapping[int, str]) -> bytes:
    """Write summaries down, metric by metric."""
    metrics = sorted({block.setting.metric for block in blocks})
    texts = [written([metrics, [[key, label] for key, label in labels.items()]])]
    for metric in metrics:
        texts += _packed([block for block in blocks if block.setting.metric == metric])
    return packed(texts)


def _head(body: Sequence[Section]) -> tuple[list[str], list[tuple[int, str]]]:
    """The metrics in a part, and the labels of all rigs in it."""
    metrics, labels = json.loads(body[0].text)
    return metrics, labels


def _read(
    body: Sequence[Section], model: int, metrics: Sequence[str], marks: Marks | None
) -> Iterator[Block]:
    """The summaries of those metrics, of the units marked or of all."""
    for place, metric in enumerate(_head(body)[0]):
        if metric in metrics:
            head, who, values = (section.text for section in body[1 + 3 * place : 4 + 3 * place])
            crowds, numbers = np.frombuffer(who, "<i8"), np.frombuffer(values, "<f8")
            yield from _unpacked(model, json.loads(head), crowds, numbers, marks)


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


def _unpacked(model: int, head: Any, who: Keys, values: Floats, marks: Marks | None) -> Iterator[Block]:
    for size, settings in head:
        keys, who = who[: len(_WHO) * size].reshape(-1, size), who[len(_WHO) * size :]
        end = len(settings) * len(_VALUES) * size
        numbers, values = values[:end].reshape(len(settings), -1, size), values[end:]
        if marks is not None:
            kept = np.flatnonzero(marks(keys[0]))
            keys, numbers = keys[:, kept], numbers[:, :, kept]
        if keys.size:
            unit, clinic, gauge = keys
            for (revision, setting), of in zip(settings, numbers, strict=True):
                yield Block(model, revision, Setting(*setting), unit, clinic, gauge, *of)


def _make(model: int, edition: int, key: str) -> bytes:
    one, _, group = key.rpartition(":")
    kind, _, name = one.partition(":")
    metrics = MAIN_METRICS if group == _MAIN else _others(edition)
    where: dict[str, Any] = {"edition": edition, "metric__in": metrics}
    if kind == "revision":
        blocks = summary_blocks(**where, pump_model=model, unit__revision=int(name))
    else:
        blocks = firmware_blocks(model, name, where)
    return pack(blocks, rig_labels(blocks))


def _others(edition: int) -> tuple[str, ...]:
    return tuple(metric for metric in edition_of(edition).metrics if metric not in MAIN_METRICS)


def _keys(model: int, edition: int) -> Iterator[str]:  # noqa: ARG001 - the same for all editions
    for revision in Revision.objects.filter(pump_model=model).order_by("order", "pk"):
        yield from (f"revision:{revision.pk}:{group}" for group in (_MAIN, _REST))
    yield from (f"firmware:{tag}:{_MAIN}" for tag in common_firmwares(model))


def common_firmwares(model: int) -> list[str]:
    """The firmwares that most accepted runs of a model name, in capitals, the commonest first."""
    runs = Run.objects.filter(pump_model=model, state=RunState.ACCEPTED).exclude(firmware="").order_by()
    tags = runs.values_list("firmware").annotate(n=Count("id")).order_by("-n", "firmware")
    common = {tag.upper(): None for tag, _ in tags if tag.isascii()}
    return list(common)[:MOST_FIRMWARES]


READINGS = PartKind("readings", _make, _keys)
