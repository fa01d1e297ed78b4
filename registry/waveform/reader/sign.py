"""Which way vacuum counts in a file: positive, negative, or as absolute pressure."""

from dataclasses import dataclass

import numpy as np

from registry.waveform.findings import finding
from registry.waveform.types import AS_USUAL, Counts, Declared, Finding, Floats, ReadError

ABSOLUTE_LOW = 250.0  # mmHg: a trace wholly above, with its highest where rooms are, is absolute pressure
ROOM_LOW, ROOM_HIGH = 450.0, 850.0  # mmHg: pressure of any room, from a high valley to a pressurised chamber
UNSURE = 0.7  # of the larger excursion: a smaller one this large on the other side leaves the sign open
SAYS: dict[str, str] = {
    "positive": "vacuum is positive",
    "negative": "vacuum is negative, turned",
    "absolute": "absolute pressure, ambient less reading",
}


@dataclass(frozen=True)
class Sign:
    """`factor` turns shown values into vacuum (+1 or -1); `says` states what was taken and `basis` why.

    `counts` is None where the sign was only assumed. `unlike` says in what the file is unlike the usual.
    """

    factor: int
    says: str
    counts: Counts | None
    basis: str
    notes: tuple[Finding, ...] = ()
    unlike: str = ""


def tell_sign(shown: Floats, name: str, declared: Declared, usual: Declared) -> Sign:
    """Which way vacuum counts in a trace in mmHg: the larger excursion from open air is vacuum.

    Where both sides are about as large, the declaration decides, then what is usual for the gauge, then the
    column's name, and then the trace is held. ReadError sign_disagrees where the values contradict what is
    declared.
    """
    wanted = _known(declared.sign)
    kept: Counts | None = _known(usual.sign) if usual.sign in SAYS else None
    lowest, highest = _reach(shown)
    found = _sure(lowest, highest, declared.zero_offset_mmhg or 0.0)
    open_to = _possible(lowest, highest, found)
    if wanted is not None:
        if wanted not in open_to:
            raise _disagrees(wanted, found, lowest, highest)
        return _taken(wanted, "values" if wanted == found else "declared")
    if kept is not None and kept in open_to:
        return _taken(kept, "values" if kept == found else AS_USUAL)
    unlike = f"the sign is {found or 'not told'}, usually {kept}" if kept is not None else ""
    if found is not None:
        return _taken(found, "values", unlike)
    word = name.casefold()
    downward = "press" in word or "druck" in word.replace("unterdruck", "")
    says = "vacuum taken as negative by the column's name" if downward else "vacuum taken as positive"
    return Sign(-1 if downward else 1, says, None, "assumed", (finding("sign_assumed"),), unlike)


def _reach(shown: Floats) -> tuple[float, float]:
    """(lowest, highest) of a trace, from at most some thousand of its samples."""
    some = shown[:: max(1, shown.size // 2000)]
    some = some[np.isfinite(some)]
    return (float(some.min()), float(some.max())) if some.size else (0.0, 0.0)


def _sure(lowest: float, highest: float, zero: float) -> Counts | None:
    """The sign that the values themselves show, or None."""
    if lowest > ABSOLUTE_LOW and ROOM_LOW < highest < ROOM_HIGH:
        return "absolute"
    lowest, highest = lowest - zero, highest - zero
    larger, smaller = max(highest, -lowest), min(max(highest, 0.0), max(-lowest, 0.0))
    if smaller <= UNSURE * larger or larger <= 0:
        return "positive" if highest >= -lowest else "negative"
    return None


def _possible(lowest: float, highest: float, found: Counts | None) -> set[Counts]:
    """Signs the values allow: deep vacuum on a high place may be absolute pressure below the sure limit."""
    allowed: set[Counts] = {"positive", "negative"} if found is None else {found}
    if lowest > 0 and ROOM_LOW < highest < ROOM_HIGH:
        allowed.add("absolute")
    return allowed


def _taken(sign: Counts, basis: str, unlike: str = "") -> Sign:
    return Sign(1 if sign == "positive" else -1, SAYS[sign], sign, basis, unlike=unlike)


def _known(text: str | None) -> Counts | None:
    if text is None:
        return None
    if text not in SAYS:
        raise ReadError(
            "sign_disagrees",
            f"The declared sign {text!r} is not known."[:400],
            hint="Declare positive, negative or absolute.",
        )
    return text  # type: ignore[return-value]


def _disagrees(wanted: str, found: str | None, lowest: float, highest: float) -> ReadError:
    seems = f": {SAYS[found]}" if found is not None else ""
    return ReadError(
        "sign_disagrees",
        f"Declared is {wanted}, but the values run from {lowest:.4g} to {highest:.4g} mmHg{seems}.",
        hint="Declare the sign as the file has it, or declare zero_offset where the gauge is not zeroed.",
    )
