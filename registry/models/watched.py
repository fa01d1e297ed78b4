"""Which tables the database counts changes of, and for whom: what a kept answer may rest on.

Migration 0009 puts the triggers there (`registry_watch`); a test holds both alike. An answer that reads a
table not named here is made anew each time (`registry.answers.served.kept`).
"""

# By the scope a change belongs to. `labels` change everything when a row is changed or gone; a new one shows
# in no answer before something watched points to it. A sitting that is changed changes everything as well,
# since it parts runs; one at an elevation new to its clinic only concerns what tells of sittings.
OF_MODEL = frozenset({
    "registry_unitsummary", "registry_run", "registry_unit", "registry_revision", "registry_serialscheme",
    "registry_serialspan", "registry_claim", "registry_claimevent", "registry_pumpmodel",
    "registry_measurement", "registry_finding",
})  # fmt: skip
OF_SITTINGS = frozenset({"registry_benchsession"})
OF_EVERYTHING = frozenset({"registry_edition"})
LABELS = frozenset({
    "registry_maker", "registry_clinic", "registry_operator", "registry_gauge", "registry_rig",
    "registry_runwas", "registry_unitwas",
})  # fmt: skip
WATCHED = OF_MODEL | OF_SITTINGS | OF_EVERYTHING | LABELS
