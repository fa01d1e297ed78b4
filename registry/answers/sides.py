"""What is compared with what: a revision, one unit, or what ran one firmware."""

from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from django.db.models import prefetch_related_objects

from registry.answers.blocks import Block, blocks_of, summary_blocks
from registry.answers.past import rows_at
from registry.errors import Fault, Invalid
from registry.models import PumpModel, Unit
from registry.models.lookup import find_revision
from registry.models.serials import canonical, check_serial, place

_FORMS = "Write a revision's label, unit:SERIAL or firmware:TAG."


@dataclass(frozen=True)
class Side:
    """One of two things compared: how it is called, its summaries, and the unit if it is one."""

    name: str
    blocks: tuple[Block, ...]
    unit: int | None = None
    revision: int | None = None

    def without(self, other: "Side") -> "Side":
        """The same without the unit that stands on the other side: a unit is not held against itself."""
        if other.unit is None or self.unit is not None:
            return self
        kept = (block.only(block.unit != other.unit) for block in self.blocks)
        return replace(self, blocks=tuple(block for block in kept if block.mean.size))


def find_side(
    pump_model: PumpModel, text: str, field: str, where: dict[str, Any], moment: datetime | None = None
) -> Side:
    """Return the side that `text` names, its summaries narrowed by `where` (filters on UnitSummary).

    A revision's label, `unit:SERIAL` or `firmware:TAG`; what ran a firmware is read from the measurements of
    its runs, since summaries do not part by firmware. Raises Invalid on `field`.
    """
    prefetch_related_objects([pump_model], "revisions")
    kind, marked, rest = text.strip().partition(":")
    kind = kind.strip().casefold() if marked else ""
    if kind == "unit":
        unit = _find_unit(pump_model, rest, field)
        blocks = summary_blocks(moment, pump_model=pump_model, unit=unit, **where)
        return Side(f"unit {unit.serial}", tuple(blocks), unit=unit.pk)
    if kind == "firmware":
        tag = " ".join(rest.split())[:40]
        return Side(f"firmware {tag}", _of_firmware(pump_model, tag, field, where, moment))
    label = rest if kind == "revision" else text
    try:
        revision = find_revision(pump_model, label)
    except Invalid as refused:
        raise Invalid(
            refused.detail,
            hint=f"{refused.hint} {_FORMS}",
            faults=tuple(replace(fault, field=field) for fault in refused.faults),
        ) from refused
    blocks = summary_blocks(moment, pump_model=pump_model, unit__revision=revision.pk, **where)
    return Side(f"revision {revision.label}", tuple(blocks), revision=revision.pk)


def _find_unit(pump_model: PumpModel, serial: str, field: str) -> Unit:
    wrong = check_serial(serial)
    if not wrong:
        spelled = canonical(serial, place(serial, pump_model.serial_schemes.all()))
        found = Unit.objects.filter(pump_model=pump_model, serial=spelled).first()
        if found is not None:
            return found
    raise Invalid(
        f"No unit of {pump_model.name} with the serial '{serial.strip()[:60]}' has been measured",
        hint=f"Check the serial on the label. {_FORMS}",
        faults=(Fault(wrong or "no measured unit has this serial", field=field),),
    )


def _of_firmware(
    pump_model: PumpModel, tag: str, field: str, where: dict[str, Any], moment: datetime | None
) -> tuple[Block, ...]:
    """The same as `summary_blocks`, summarised here from the runs that named the firmware."""
    rows = rows_at(moment, {"pump_model": pump_model, "firmware__iexact": tag, **where})
    blocks = blocks_of(rows)
    if not blocks:
        raise Invalid(
            f"No accepted run of {pump_model.name} that fits names the firmware '{tag}'",
            hint=f"A run's firmware is what was said when it was uploaded. {_FORMS}",
            faults=(Fault("no run names this firmware", field=field),),
        )
    return tuple(blocks)
