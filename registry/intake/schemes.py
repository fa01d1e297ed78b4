"""Serial schemes as declared: checked, and brought to what the declaration lists."""

from collections.abc import Mapping, Sequence
from typing import Any

from registry.errors import Fault, Invalid
from registry.intake.records import Change, bring
from registry.models import PumpModel, SerialScheme
from registry.models.serials import check_scheme

Entry = Mapping[str, Any]


def load_schemes(
    model: PumpModel, entries: Sequence[Entry] | None, path: str
) -> tuple[list[SerialScheme], list[Change]]:
    """Return the model's schemes as `entries` list them, the stored ones where that is None.

    A stored scheme that is not listed is named as removed; it is deleted once nothing uses it any more.
    Raises Invalid naming each entry that cannot serve.
    """
    if entries is None:
        return list(model.serial_schemes.all()), []
    faults = []
    for index, entry in enumerate(entries):
        wrong = check_scheme(
            entry["pattern"], entry["order"], entry.get("date") or {}, entry.get("plant") or ""
        )
        if wrong:
            faults.append(Fault(wrong, field=f"{path}[{index}]"))
    if faults:
        raise Invalid("; ".join(f.message for f in faults), faults=tuple(faults))
    stored = list(model.serial_schemes.all())
    brought = [
        bring(SerialScheme, {"pump_model": model, "pattern": entry["pattern"]}, _values(entry, index))
        for index, entry in enumerate(entries)
    ]
    schemes = [scheme for scheme, _ in brought]
    removed = [Change("serial_scheme", old.pattern, "removed") for old in stored if old not in schemes]
    return schemes, [change for _, change in brought] + removed


def _values(entry: Entry, index: int) -> dict[str, Any]:
    return {
        "order": list(entry["order"]),
        "position": index,
        "date": dict(entry.get("date") or {}),
        "plant": entry.get("plant") or "",
        "era": entry.get("era"),
    }
