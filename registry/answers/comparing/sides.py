"""What is compared with what: a revision, one unit, or what ran one firmware."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

import numpy as np
from django.db import connection
from django.db.models import Count, Q, prefetch_related_objects
from numpy.typing import NDArray

from registry.answers.blocks import Block, Keys, blocks_of, of_units, summary_blocks
from registry.answers.comparing.asked_words import asked_words, words_in
from registry.answers.past import rows_at
from registry.answers.unmatched import none_has
from registry.errors import Fault, Invalid
from registry.models import PumpModel, Run, RunState
from registry.models.lookup import find_revision
from registry.models.serials import canonical, check_serial, place, spellings

_FORMS = "Write a revision's label, unit:SERIAL or firmware:TAG."
_FIELDS = ("old", "new")
_UNITS = "SELECT serial, id, revision_id FROM registry_unit WHERE pump_model_id = %s AND serial = ANY (%s)"
Blocks = tuple[Sequence[Block], Sequence[Block]]
Marks = Callable[[Keys], NDArray[np.bool_]]


@dataclass(frozen=True)
class Side:
    """One of two things compared: how it is called, and the revision, unit or firmware it is.

    A unit has the `serial` it is stored under, and what was `typed` for it; its key `unit`, and the
    `revision` it is of today, once it is located. `field` is the parameter that named the side.
    """

    name: str
    unit: int | None = None
    revision: int | None = None
    firmware: str | None = None
    field: str = "old"
    serial: str | None = None
    typed: str = ""

    @property
    def is_revision(self) -> bool:
        """Whether it is a revision as a whole."""
        return self.serial is None and self.firmware is None

    def marks(self, other: "Side") -> Marks | None:
        """What marks the units of it, given the keys of its build's or firmware's; None where all are its.

        A unit is not held against itself: where one stands on the other side, it is left out.
        """
        if self.unit is not None:
            return lambda units: units == self.unit
        return None if other.unit is None else lambda units: units != other.unit


@dataclass(frozen=True)
class Sides:
    """Both of them, of one pump model."""

    pump_model: PumpModel
    old: Side
    new: Side

    @property
    def names(self) -> tuple[str, str]:
        """How they are called."""
        return self.old.name, self.new.name

    @property
    def of_units(self) -> bool:
        """Whether units are themselves asked about."""
        return any(side.serial is not None for side in (self.old, self.new))

    @property
    def build_of_unit(self) -> int | None:
        """The place of what one unit is held against: 0 old, 1 new; None of two units or of none."""
        single = [side.serial is not None for side in (self.old, self.new)]
        return single.index(False) if sum(single) == 1 else None

    @property
    def fixed(self) -> list[int]:
        """Keys of units that are themselves asked about, once these are located."""
        return [side.unit for side in (self.old, self.new) if side.unit is not None]

    def reversed(self) -> "Sides":
        """The same with old for new."""
        return Sides(self.pump_model, self.new, self.old)

    def located(self) -> "Sides":
        """The same with its units found. One query where there are any.

        Raises Invalid on the field that names a unit which was never measured.
        """
        old, new = _located(self.pump_model, [self.old, self.new])
        return Sides(self.pump_model, old, new)

    def blocks(self, where: Mapping[str, Any], moment: datetime | None = None) -> Blocks:
        """The summaries of both, located, narrowed by `where` (filters on UnitSummary).

        A unit is not held against itself: where one stands on one side, it is left out of the other.
        Raises Invalid where nothing that fits names a firmware.
        """
        of_one = self._of_one_revision(where) if moment is None else None
        old, new = of_one or self._of_each(where, moment)
        return _marked(old, self.old.marks(self.new)), _marked(new, self.new.marks(self.old))

    def _of_each(self, where: Mapping[str, Any], moment: datetime | None) -> Blocks:
        """Both, one after the other: whatever their order, what was asked about as old is refused first."""
        sides = (self.old, self.new)
        found = {
            at: self._blocks(sides[at], where, moment)
            for at in sorted((0, 1), key=lambda at: _FIELDS.index(sides[at].field))
        }
        return found[0], found[1]

    def _of_one_revision(self, where: Mapping[str, Any]) -> Blocks | None:
        """Both in one query where they are revisions, or a unit and its own."""
        sides = (self.old, self.new)
        keys = [side.revision for side in sides if side.firmware is None]
        if None in keys or len(keys) < 2 or all(side.unit is not None for side in sides):
            return None
        if not all(side.is_revision for side in sides) and keys[0] != keys[1]:
            return None
        found = summary_blocks(pump_model=self.pump_model, unit__revision__in=set(keys), **where)
        old, new = (
            found if side.unit is not None else [block for block in found if block.revision == side.revision]
            for side in sides
        )
        return old, new

    def _blocks(self, side: Side, where: Mapping[str, Any], moment: datetime | None) -> Sequence[Block]:
        if side.unit is not None:
            return summary_blocks(moment, pump_model=self.pump_model, unit=side.unit, **where)
        if side.firmware is not None:
            return _of_firmware(self.pump_model, side.firmware, side.field, where, moment)
        return summary_blocks(moment, pump_model=self.pump_model, unit__revision=side.revision, **where)


def find_sides(pump_model: PumpModel, old: str, new: str) -> Sides:
    """Return what `old` and `new` name: a revision's label, `unit:SERIAL` or `firmware:TAG`.

    Units are not located yet. Raises Invalid on the field at fault, and on `new` where both are one and the
    same.
    """
    prefetch_related_objects([pump_model], "revisions")
    before = _find_side(pump_model, old, "old")
    try:
        return Sides(pump_model, before, _find_other(pump_model, new, before))
    except Invalid:
        # Where old is wrong as well, that is told.
        _located(pump_model, [before])
        raise


def _find_other(pump_model: PumpModel, new: str, before: Side) -> Side:
    after = _find_side(pump_model, new, "new")
    if before.name.upper() == after.name.upper():
        raise Invalid(
            f"Both sides are {before.name}",
            hint="Name two that differ: revisions, unit:SERIAL or firmware:TAG.",
            faults=(Fault("is the same as old", field="new"),),
        )
    return after


def _find_side(pump_model: PumpModel, text: str, field: str) -> Side:
    kind, marked, rest = text.strip().partition(":")
    kind = kind.strip().casefold() if marked else ""
    if kind == "unit":
        return _find_unit(pump_model, rest, field)
    if kind == "firmware":
        return _find_firmware(rest, field)
    label = rest if kind == "revision" else text
    try:
        revision = find_revision(pump_model, label)
    except Invalid as refused:
        raise Invalid(
            refused.detail,
            hint=f"{refused.hint} {_FORMS}",
            faults=tuple(replace(fault, field=field) for fault in refused.faults),
        ) from refused
    return Side(f"revision {revision.label}", revision=revision.pk, field=field)


def _find_firmware(text: str, field: str) -> Side:
    tag = " ".join(text.split())[:40]
    if not tag:
        # What named no firmware may have run any.
        raise Invalid("No firmware is named", hint=_FORMS, faults=(Fault("names no firmware", field=field),))
    return Side(f"firmware {tag}", firmware=tag, field=field)


def _marked(blocks: Sequence[Block], marks: Marks | None) -> Sequence[Block]:
    return blocks if marks is None else of_units(blocks, marks)


def _find_unit(pump_model: PumpModel, typed: str, field: str) -> Side:
    wrong = check_serial(typed)
    if wrong:
        raise _not_measured(pump_model, typed, field, wrong)
    serial, *others = spellings(typed)
    if others:
        serial = canonical(typed, place(typed, pump_model.serial_schemes.all()))
    return Side(f"unit {serial}", field=field, serial=serial, typed=typed)


def _located(pump_model: PumpModel, sides: Sequence[Side]) -> list[Side]:
    """Sides with units found; of several that are not there, the refusal names the one asked about first."""
    serials = [side.serial for side in sides if side.serial is not None]
    if not serials:
        return list(sides)
    # Putting the question together would cost more than asking it.
    with connection.cursor() as cursor:
        cursor.execute(_UNITS, [pump_model.pk, serials])
        found = {serial: (unit, revision) for serial, unit, revision in cursor.fetchall()}
    for side in sorted(sides, key=lambda side: _FIELDS.index(side.field)):
        if side.serial is not None and side.serial not in found:
            raise _not_measured(pump_model, side.typed, side.field)
    of_unit = [found.get(side.serial or "", (None, side.revision)) for side in sides]
    return [
        replace(side, unit=unit, revision=revision)
        for side, (unit, revision) in zip(sides, of_unit, strict=True)
    ]


def _not_measured(
    pump_model: PumpModel, typed: str, field: str, wrong: str = "no measured unit has this serial"
) -> Invalid:
    return Invalid(
        f"No unit of {pump_model.name} with the serial '{typed.strip()[:60]}' has been measured",
        hint=f"Check the serial on the label. {_FORMS}",
        faults=(Fault(wrong, field=field),),
    )


def _of_firmware(
    pump_model: PumpModel, tag: str, field: str, where: Mapping[str, Any], moment: datetime | None
) -> Sequence[Block]:
    """The summaries of what ran a firmware. Raises Invalid on `field` where nothing that fits did."""
    blocks = firmware_blocks(pump_model.pk, tag, where, moment)
    if not blocks:
        instead = "" if moment else _instead_of(pump_model.pk, tag, where)
        raise Invalid(
            f"No accepted run of {pump_model.name} that fits names the firmware '{tag}'"
            f"{': ' if instead else ''}{instead}",
            hint=f"A run's firmware is what was said when it was uploaded. {_FORMS}",
            faults=(Fault("no run names this firmware", field=field),),
        )
    return blocks


def _instead_of(pump_model: int, tag: str, where: Mapping[str, Any]) -> str:
    """Which filter no run that named the firmware fits, and what there is; empty where none named it."""
    wanted = asked_words(where)
    named = ["edition", *([] if "metric" in wanted else ["metric__in"])]
    found = firmware_blocks(pump_model, tag, {name: where[name] for name in named})
    return none_has(words_in(found, {}), wanted)


def firmware_blocks(
    pump_model: int, tag: str, where: Mapping[str, Any], moment: datetime | None = None
) -> list[Block]:
    """The same as `summary_blocks`, of the runs that named the firmware.

    Summaries do not part by firmware, so those of units that ran no other are taken as they are, and only
    units that ran several are summed up run by run. For a past time all are.
    """
    ran = {"pump_model": pump_model, "firmware__iexact": tag, **where}
    if moment is not None:
        return blocks_of(rows_at(moment, ran))
    counted = Run.objects.filter(pump_model=pump_model, state=RunState.ACCEPTED).order_by().values("unit")
    named = counted.annotate(named=Count("id", filter=Q(firmware__iexact=tag)), n=Count("id")).filter(
        named__gt=0
    )
    units = list(named.values_list("unit", "named", "n"))
    alone, mixed = ([unit for unit, named, n in units if (named == n) is whole] for whole in (True, False))
    blocks = summary_blocks(pump_model=pump_model, unit__in=alone, **where) if alone else []
    return blocks + (blocks_of(rows_at(None, {**ran, "unit__in": mixed})) if mixed else [])
