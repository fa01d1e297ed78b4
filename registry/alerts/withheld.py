"""What an explanation tells whom: no stranger hears of a suspicion, or how a clinic's gauge reads.

What was raised is told to all. A gauge's or clinic's other figures are for that clinic and for curators, as
in the answer about benches; what is off and not (yet) raised is for who signed in, who may record what
confirms it.
"""

from typing import Any, Final

from registry.models import Judgement, Operator

UNDECIDED: Final = "not decided yet"
_OF_A_CLINIC: Final = ("gauge", "clinic")
_OWN: Final = "its figures are shown to its own clinic and to curators"
_SIGNED_IN: Final = "its figures are shown to who signs in"


def as_told(row: dict[str, Any], judged: Judgement, reader: Operator | None) -> dict[str, Any]:
    """Return a judgement's row of an explanation as `reader` may see it; None is somebody without a token."""
    if row["outcome"] == "alert" or _may_see(judged, reader):
        return row
    is_open = judged.standing in ("off", "between")
    return {
        **row,
        "outcome": UNDECIDED if is_open else row["outcome"],
        "says": f"{judged.subject}: {UNDECIDED if is_open else row['outcome']}.",
        "lacks": row["lacks"] or (_OWN if judged.subject_kind in _OF_A_CLINIC else _SIGNED_IN),
        "why": [],
        "p": None,
        "q": None,
        "evidence": {},
    }


def _may_see(judged: Judgement, reader: Operator | None) -> bool:
    if reader is not None and reader.is_curator:
        return True
    if judged.subject_kind in _OF_A_CLINIC:
        owner = judged.gauge.clinic_id if judged.gauge is not None else judged.clinic_id
        return reader is not None and owner == reader.clinic_id
    return reader is not None or judged.standing != "off"
