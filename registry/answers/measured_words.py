"""By which words what was measured can be asked for, of summaries as they are now."""

from typing import Any

from registry.answers.narrowing import labels_of
from registry.answers.unmatched import UNKNOWN, Rows
from registry.models import UnitSummary

_READ = ("mode", "programme", "level", "side", "metric", "power", "elevation", "rig")


def measured_words(*, revisions: bool = True, **where: Any) -> Rows:
    """Return the words of all that was measured, each combination once: two queries.

    `where` are filters on UnitSummary and must name the edition. Builds are told apart with `revisions`
    alone, since that takes as long again.
    """
    of_build = ("unit__revision__label",) if revisions else ()
    found = list(UnitSummary.objects.filter(**where).order_by().values(*of_build, *_READ).distinct())
    labels = labels_of(row["rig"] for row in found) if found else {}
    return Rows(
        [
            {
                **{name: row[name] for name in _READ},
                "rig": labels[row["rig"]],
                "revision": row.get("unit__revision__label") or UNKNOWN,
            }
            for row in found
        ]
    )
