"""Refuse a declaration that says one thing twice: which of the two would hold?"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from registry.errors import Fault, Invalid

Entry = Mapping[str, Any]
_CLAIM = ("metric", "relation", "mode", "programme", "level", "source")


def refuse_doubles(entries: Sequence[Entry]) -> None:
    """Raise Invalid naming every model, scheme, revision, span or claim that is declared twice."""
    faults = list(_doubles((entry["name"] for entry in entries), "pump_model"))
    for index, entry in enumerate(entries):
        path = f"pump_model[{index}]"
        revisions = entry.get("revision", [])
        faults += _doubles((r["label"] for r in revisions), f"{path}.revision")
        faults += _doubles((s["pattern"] for s in entry.get("serial_scheme", [])), f"{path}.serial_scheme")
        claims = entry.get("claim", [])
        faults += _doubles(("|".join(c.get(name, "") for name in _CLAIM) for c in claims), f"{path}.claim")
        for place, revision in enumerate(revisions):
            spans = revision.get("span", [])
            names = ("|".join((s["first"], s["last"], s["basis"])) for s in spans)
            faults += _doubles(names, f"{path}.revision[{place}].span")
    if faults:
        raise Invalid(
            "; ".join(f"{fault.field}: {fault.message}" for fault in faults),
            hint="Declare each once; capitals make no difference.",
            faults=tuple(faults),
        )


def _doubles(names: Iterable[str], path: str) -> Iterator[Fault]:
    first: dict[str, int] = {}
    for index, name in enumerate(names):
        known = first.setdefault(name.casefold(), index)
        if known != index:
            yield Fault(f"says again what entry {known} says", field=f"{path}[{index}]")
