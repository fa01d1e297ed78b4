"""Evidence as tables: whatever a rule keeps, laid out so that a person can read it."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from registry.pages.words import plain

MOST_ROWS: Final = 60
_LIMITS: Final = "limits"
_PLAINER: Final = {"percent": "%", "p": "chance of as much", "q": "share of false ones"}
# The database keeps keys by length; a reader wants what it is about, how large, and then between what.
_LAST: Final = ("change", "unit", "percent", "low", "high", "low_percent", "high_percent")


@dataclass(frozen=True)
class Table:
    """A small table; with one heading a row's first cell names the rest."""

    title: str
    headings: list[str]
    rows: list[list[str]]
    left_out: int = 0


def laid_out(evidence: Mapping[str, Any]) -> list[Table]:
    """Return single figures first, then one table for each list or group; what a rule goes by comes last."""
    single = [[label(key), figure(value)] for key, value in evidence.items() if _is_single(value)]
    found = [Table("Figures", ["", "value"], single)] if single else []
    grouped = [(key, value) for key, value in evidence.items() if not _is_single(value)]
    for key, value in sorted(grouped, key=lambda item: item[0] == _LIMITS):
        found += _tables(key, value)
    return found


def _tables(key: str, value: Any) -> Iterator[Table]:
    if not value:
        return
    if isinstance(value, Mapping) and all(isinstance(inner, Mapping) for inner in value.values()):
        yield _of_records(key, [{"": plain(str(name)), **inner} for name, inner in value.items()])
    elif isinstance(value, Mapping):
        rows = [[label(name), figure(inner)] for name, inner in value.items()]
        yield Table(_title(key), ["", "value"], rows[:MOST_ROWS], max(len(rows) - MOST_ROWS, 0))
    elif all(isinstance(inner, Mapping) for inner in value):
        yield _of_records(key, value)
    else:
        yield Table(_title(key), [""], [[figure(inner)] for inner in value[:MOST_ROWS]])


def _of_records(key: str, records: Sequence[Mapping[str, Any]]) -> Table:
    found = dict.fromkeys(name for record in records for name in record)
    names = [name for name in found if name not in _LAST] + [name for name in _LAST if name in found]
    rows = [[figure(record.get(name)) for name in names] for record in records[:MOST_ROWS]]
    return Table(_title(key), [label(name) for name in names], rows, max(len(records) - MOST_ROWS, 0))


def _title(key: str) -> str:
    return "Limits the rule goes by" if key == _LIMITS else label(key).capitalize()


def label(key: str) -> str:
    """A key in words, with its unit at the end: shift_percent is "shift, %"."""
    for ending, unit in (("_percent", "%"), ("_mmhg", "mmHg"), ("_days", "days")):
        if key.endswith(ending) and len(key) > len(ending):
            return f"{plain(key.removesuffix(ending))}, {unit}"
    return _PLAINER.get(key) or plain(key)


def figure(value: Any) -> str:
    """A value as a person reads it; numbers to four digits."""
    if value is None:
        return "–"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.4g}"
    if isinstance(value, Mapping):
        return "; ".join(f"{label(str(name))} {figure(inner)}" for name, inner in value.items())
    if isinstance(value, list | tuple):
        return ", ".join(figure(inner) for inner in value)
    return str(value)


def _is_single(value: Any) -> bool:
    return not isinstance(value, Mapping | list | tuple)
