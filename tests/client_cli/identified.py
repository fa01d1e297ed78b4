"""Identifications as a server of this stage gives them, and one that answers by what it is told."""

import json
from typing import Any

from tests.client_cli.server import Asked, Reply

MARK = {"kind": "mark", "ask": "What is the membrane like: flat or domed?", "key": "membrane", "bits": 0.71}
SETTING = {
    "kind": "setting",
    "ask": "Record one run at expression 3 with cup / duckbill / soft / 24 mm / 0 mL, on mains.",
    "bits": 0.9,
    "mode": "expression",
    "level": "3",
    "programme": "",
    "power": "mains",
    "rig": "cup / duckbill / soft / 24 mm / 0 mL",
}
SERIAL = {"kind": "serial", "ask": "What is the serial on its label?", "bits": 0.5}
WEIGHT = "speaks for revision B over revision A"


def piece(kind: str, said: str, says: str, weight: str = WEIGHT, **more: Any) -> dict[str, Any]:
    """One piece of evidence."""
    sides = {"favours": None, "over": None} if weight == "says nothing" else {"favours": "B", "over": "A"}
    return {
        "kind": kind,
        "said": said,
        "says": says,
        "weight": weight,
        "ratio": 19.0,
        "state": None,
        **sides,
        **more,
    }


IDENTIFIED: dict[str, Any] = {
    "model": "Pellomi",
    "verdict": "probably revision B",
    "named": "B",
    "revisions": [
        {"revision": "B", "probability": 0.912},
        {"revision": "A", "probability": 0.081},
        {"revision": None, "probability": 0.007},
    ],
    "evidence": [
        piece("mark", "yellow-ish housing", "housing is amber (known: A amber, B amber)", "says little"),
        piece("serial", "MR000123", "nobody knows yet which revision this serial is", "says nothing"),
        piece(
            "trace",
            "a_long_name_of_a_recording_2025-03-02.csv at expression 3",
            "cycle rate 66.2 (A 74.3, B 66.1); peak vacuum 178 (A 178, B 177) (expression 3 with two-chamber "
            "protector / duckbill valve / silicone 6 mm / 24 mm / 30 mL, on mains)",
            "speaks very strongly for revision B over revision A",
            state="accepted",
        ),
    ],
    "next": MARK,
    "edition": 1,
    "as_of": "2026-03-01T12:00:00Z",
    "says": f"Pellomi: probably revision B (91 in 100). Next: {MARK['ask']}",
    "cautions": ["Never open or alter a pump that a person will use."],
}


def asks_in_turn(asked: Asked) -> Reply:
    """Ask for a run, a mark and the serial, each until it is told or passed over."""
    question = (
        json.loads(asked.form["question"]) if "multipart" in asked.headers["content-type"] else asked.json
    )
    skip, marks = question.get("skip", []), question.get("marks", [])
    evidence = [
        piece("mark", mark, "membrane is domed")
        if "dome" in mark
        else piece("mark", mark, "membrane: 'blue' is none of flat, domed", "says nothing")
        for mark in marks
    ]
    if question.get("serial"):
        says = "lies in a declared span of revision B"
        unread = piece("serial", question["serial"], "'x' is not read. Check it.", "says nothing", value=None)
        evidence.append(unread if question["serial"] == "x" else piece("serial", question["serial"], says))
    evidence += [
        piece("trace", "t at expression 3", "cycle rate 66", state="accepted")
        for _ in question.get("traces", [])
    ]
    left = [
        one
        for one, is_done in (
            (SETTING, bool(question.get("traces")) or "setting" in skip),
            (MARK, bool(marks) or "membrane" in skip),
            (SERIAL, bool(question.get("serial")) or "serial" in skip),
        )
        if not is_done
    ]
    return 200, {**IDENTIFIED, "evidence": evidence, "next": left[0] if left else None}
