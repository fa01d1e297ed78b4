"""What the server answers about serials, corrections and the catalogue's history, for tests of the client."""

from typing import Any

CAUTION = (
    "A difference between builds says nothing about a person. Ask how it feels before changing a setting."
)
SERIALS: dict[str, Any] = {
    "model": "Pellomi",
    "understood": {
        "typed": "lk 0OOOO1 - 9999",
        "first": "LK000001",
        "last": "LK009999",
        "changes": ["read in capitals", "letter O read as digit 0"],
        "scheme": r"(?P<plant>[A-Z]{2})(?P<number>\d{6})",
        "why_this_scheme": "2 forms of serial read it; the one declared first was taken.",
    },
    "made": {
        "first": "2024-03-04",
        "last": "2024-03-10",
        "says": "week 10 of 2024",
        "year_by": "declared base",
    },
    "plant": "LK",
    "spans": [
        {
            "first": "LK000001",
            "last": "LK004999",
            "revision": "A",
            "basis": "declared",
            "units": 12,
            "clinics": 3,
            "first_seen": "2025-03-02",
            "last_seen": "2026-01-05",
            "confidence": 0.993,
            "probability": None,
            "conflicts": [],
            "lacks": None,
        },
        {
            "first": "LK005000",
            "last": "LK005499",
            "revision": None,
            "basis": "unknown",
            "units": 0,
            "clinics": 0,
            "first_seen": None,
            "last_seen": None,
            "confidence": None,
            "probability": None,
            "conflicts": [],
            "lacks": "somewhere here A becomes B; a pump from here, best about LK005250, would tell where",
        },
        {
            "first": "LK005500",
            "last": "LK009999",
            "revision": "B",
            "basis": "inferred",
            "units": 4,
            "clinics": 2,
            "first_seen": "2026-01-05",
            "last_seen": "2026-01-05",
            "confidence": 0.87,
            "probability": 0.942,
            "conflicts": [
                {
                    "serial": "LK007123",
                    "asserted": "A",
                    "clinic": "harbour",
                    "says": "clinic harbour saw revision A on LK007123",
                }
            ],
        },
    ],
    "edition": 1,
    "as_of": "2026-03-01T12:00:00Z",
    "says": "LK000001 to LK004999 are revision A; from LK005500 on probably B; between is not known.",
    "cautions": [CAUTION],
}


EFFECTS: dict[str, Any] = {
    "changes": [
        {"kind": "span", "name": "LK000001 to LK004999 (A)", "action": "removed"},
        {"kind": "span", "name": "LK000001 to LK003999 (A)", "action": "created"},
    ],
    "units": [{"was": "A", "now": None, "units": 2, "first": "LK004500", "last": "LK004700"}],
    "runs": [{"was": "held", "now": "accepted", "runs": 1}],
    "overlaps": ["LK000001 to LK003999 (A, declared) lies over LK003900 to LK003950 (B, observed)"],
    "says": "2 units from revision A to no known revision; 1 run held before, accepted now; "
    "1 spans of two revisions lie over each other.",
}
PROPOSAL: dict[str, Any] = {
    "id": 12,
    "pump_model": "Pellomi",
    "state": "open",
    "change": {"spans": [], "dropped_spans": []},
    "why": "the maker corrected its letter of 2025-03-02",
    "foreseen": EFFECTS,
    "done": None,
    "proposed_by": "harbour/gull",
    "proposed_at": "2026-01-05T09:00:00Z",
    "decided_by": None,
    "decided_at": None,
    "decided_why": "",
    "is_outdated": True,
    "stale": None,
}
CONFIRMED = {
    **PROPOSAL,
    "state": "confirmed",
    "decided_by": "upland/tern",
    "done": EFFECTS,
    "is_outdated": False,
}
REJECTED = {
    **PROPOSAL,
    "state": "rejected",
    "decided_by": "upland/tern",
    "decided_why": "the letter is older",
}
HISTORY: dict[str, Any] = {
    "model": "Pellomi",
    "results": [
        {
            "at": "2026-01-05T09:30:12.123456Z",
            "kind": "span",
            "name": "LK000001 to LK003999",
            "action": "created",
            "by": "upland/tern",
            "proposed_by": "harbour/gull",
            "proposal": 12,
            "why": "the maker corrected its letter",
            "before": None,
            "after": {"revision": "A", "basis": "declared", "source": "letter 2"},
            "says": "span LK000001 to LK003999 created (declared as revision A, letter 2) by upland/tern, "
            "proposed by harbour/gull: the maker corrected its letter.",
        }
    ],
    "next": "http://127.0.0.1/api/v1/pump-models/4/history?page_size=1&after=1",
}
ANSWERS: dict[tuple[str, str], Any] = {
    ("GET", "serials"): SERIALS,
    ("GET", "proposals"): {"results": [PROPOSAL], "next": None},
    ("GET", "proposals/12"): PROPOSAL,
    ("POST", "proposals/from-catalogue"): {"results": [PROPOSAL]},
    ("POST", "proposals/12/confirm"): CONFIRMED,
    ("POST", "proposals/12/reject"): REJECTED,
    ("GET", "pump-models/4/history"): HISTORY,
}
