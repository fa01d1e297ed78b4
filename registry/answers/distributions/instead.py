"""What was measured of a pump model where nothing fits a question about distributions."""

from collections.abc import Mapping

from registry.answers.cells import Narrowed
from registry.answers.narrowing import labels_of
from registry.answers.unmatched import UNKNOWN, none_has
from registry.models import UnitSummary

_READ = ("mode", "programme", "level", "metric", "power", "elevation")


def what_there_is(narrowed: Narrowed, rig: str, revisions: Mapping[int, str]) -> str:
    """Return which word of the question no accepted run has, and what there is; see `unmatched.none_has`.

    Empty where the model has no summary in the edition at all. Two queries at most.
    """
    found = list(
        UnitSummary.objects.filter(pump_model=narrowed.pump_model, edition=narrowed.edition)
        .order_by()
        .values("unit__revision_id", "rig", *_READ)
        .distinct()
    )
    labels = labels_of(row["rig"] for row in found) if rig and found else {}
    rows = [
        {
            **row,
            "revision": revisions.get(row["unit__revision_id"], UNKNOWN),
            "rig": labels.get(row["rig"], ""),
        }
        for row in found
    ]
    revision = None if narrowed.revision is None else revisions.get(narrowed.revision, "")
    return none_has(rows, {"revision": revision, **{name: getattr(narrowed, name) for name in _READ}}, rig)
