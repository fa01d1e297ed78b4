"""What was measured of a pump model where nothing fits a question about distributions."""

from collections.abc import Mapping

from registry.answers.cells import Narrowed
from registry.answers.measured_words import measured_words
from registry.answers.unmatched import none_has

_ASKED = ("mode", "programme", "level", "metric", "power", "elevation")


def what_there_is(narrowed: Narrowed, rig: str, revisions: Mapping[int, str]) -> str:
    """Return which word of the question no accepted run has, and what there is; see `unmatched.none_has`.

    Empty where the model has no summary in the edition at all. Two queries at most.
    """
    revision = None if narrowed.revision is None else revisions.get(narrowed.revision, "")
    measured = measured_words(
        revisions=revision is not None, pump_model=narrowed.pump_model, edition=narrowed.edition
    )
    return none_has(measured, {"revision": revision, **{of: getattr(narrowed, of) for of in _ASKED}}, rig)
