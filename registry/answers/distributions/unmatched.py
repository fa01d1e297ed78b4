"""Why nothing fits a question: the first of its words that no accepted run has, and what there is instead."""

from collections.abc import Callable, Iterable, Mapping
from functools import partial
from typing import Any

from registry.answers.cells import Narrowed
from registry.answers.filters import is_rig
from registry.answers.narrowing import labels_of
from registry.answers.wording import in_words, natural, telling
from registry.models import UnitSummary

# More names than this are a list nobody reads.
_MOST = 8
_READ = ("unit__revision_id", "mode", "programme", "level", "rig", "power", "elevation", "metric")
_BLANK = {"programme": "without a programme", "power": "not said", "elevation": "not said"}


def what_there_is(narrowed: Narrowed, rig: str, revisions: Mapping[int, str]) -> str:
    """Return which word of the question no accepted run has, and what there is in its place.

    "none has level 9; there are 1, 2, 3": the words are gone through in order, each among what fits
    those before it. Empty where the model has no summary in the edition at all. Two queries at most.
    """
    rows = list(
        UnitSummary.objects.filter(pump_model=narrowed.pump_model, edition=narrowed.edition)
        .order_by()
        .values(*_READ)
        .distinct()
    )
    labels = labels_of(row["rig"] for row in rows) if rig and rows else {}
    for name, said, fits in _words(narrowed, rig, revisions, labels):
        fitting = [row for row in rows if fits(row)]
        if rows and not fitting:
            return f"none has {name} {said}; there {_are(name, rows, revisions, labels)}"
        rows = fitting
    return ""


Word = tuple[str, str, Callable[[Mapping[str, Any]], bool]]


def _words(
    narrowed: Narrowed, rig: str, revisions: Mapping[int, str], labels: Mapping[int, str]
) -> Iterable[Word]:
    """What the question was narrowed by: its name, how it was said, and whether a summary fits it."""
    if narrowed.revision is not None:
        label = revisions.get(narrowed.revision, "")
        yield "revision", label, lambda row: row["unit__revision_id"] == narrowed.revision
    for name in ("mode", "programme", "level", "metric", "power", "elevation"):
        wanted = getattr(narrowed, name)
        if wanted is not None:
            said = in_words(wanted) if wanted else _BLANK.get(name, "")
            yield name, said, partial(_is, name, wanted)
    if rig:
        yield "rig", f"'{rig[:60]}'", lambda row: is_rig(labels[row["rig"]], rig)


def _is(name: str, wanted: str, row: Mapping[str, Any]) -> bool:
    return bool(row[name].upper() == wanted.upper())


def _are(
    name: str, rows: Iterable[Mapping[str, Any]], revisions: Mapping[int, str], labels: Mapping[int, str]
) -> str:
    """What there is of a kind, in the order people expect: "are 1, 2, 3"."""
    if name == "rig":
        found = set(telling(labels[row["rig"]] for row in rows).values())
    elif name == "revision":
        found = {revisions.get(row["unit__revision_id"], "unknown") for row in rows}
    else:
        found = {in_words(row[name]) or _BLANK.get(name, "") for row in rows}
    names = sorted(found, key=natural)
    more = f" and {len(names) - _MOST} more" if len(names) > _MOST else ""
    return f"{'is' if len(names) == 1 else 'are'} {', '.join(names[:_MOST])}{more}"
