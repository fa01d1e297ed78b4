"""The comparison of benches in one line of plain words."""

from collections.abc import Collection, Mapping, Sequence
from datetime import datetime
from typing import Any

from registry.answers.wording import counted, dated, in_words

_VERDICTS = {
    "acceptable": "as it should be",
    "warning": "worth a look",
    "action": "too far off, find the cause",
}
_BEYOND = "worth a look, more than its gauges declare"


def told_benches(
    benches: Sequence[Mapping[str, Any]],
    gauges: Sequence[Mapping[str, Any]],
    rounds: int,
    scatter: float | None,
    moment: datetime | None,
) -> str:
    """Return what a benches document says: of the own bench where one asks and is known, else of all.

    `rounds` is how many units went round, `scatter` what benches differ by in vacuum, in per cent.
    """
    told = [row for row in benches if row["state"] == "ok"]
    yours = [row for row in told if row["own"]]
    said = _of_own(yours, gauges) if yours else _of_all(told, scatter)
    return dated(f"{said}; {counted(rounds, 'unit')} went round.", moment)


def _of_own(yours: Sequence[Mapping[str, Any]], gauges: Sequence[Mapping[str, Any]]) -> str:
    """ "Your bench reads 1.2 % high in vacuum (0.1 to 2.3 %: as it should be)", and which gauge is off."""
    several = len({row["gauge"] for row in gauges}) > 1
    off = [row for row in gauges if several and row["reads"] == "action"]
    named = "".join(f"; gauge {row['gauge']} reads {_lean(row)}, too far off" for row in off)
    return f"Your bench reads {' and '.join(_assessed(row) for row in yours)}{named}"


def _assessed(row: Mapping[str, Any]) -> str:
    low, high = row["low_percent"], row["high_percent"]
    mark = _BEYOND if _is_beyond(row) else _VERDICTS[row["reads"]]
    return f"{_lean(row)} ({low:.1f} to {high:.1f} %: {mark})"


def _is_beyond(row: Mapping[str, Any]) -> bool:
    """Whether a bench that is not too far off reads further off all the same than its gauges declare."""
    return bool(row["reads"] != "action" and row["en_reads"] == "action")


def _lean(row: Mapping[str, Any]) -> str:
    """An offset in words: "1.2 % high in vacuum"."""
    side = "high" if row["offset_percent"] > 0 else "low"
    return f"{abs(row['offset_percent']):.1f} % {side} in {in_words(row['quantity'])}"


def _of_all(told: Collection[Mapping[str, Any]], scatter: float | None) -> str:
    if not told:
        return "No bench can be compared yet: too few builds were measured by several clinics"
    off = len({row["clinic"] for row in told if row["reads"] == "action"})
    clinics = counted(len({row["clinic"] for row in told}), "clinic")
    differ = f", which differ by {scatter:.1f} % in vacuum" if scatter is not None else ""
    far = f"{off} of them {_read(off)}" if off else "none reads"
    beyond = len({row["clinic"] for row in told if _is_beyond(row)})
    also = f", {beyond} {_read(beyond)} further off than declared" if beyond else ""
    return f"Benches of {clinics} compared{differ}; {far} too far off{also}"


def _read(benches: int) -> str:
    return "reads" if benches == 1 else "read"
