"""What was measured of a pump model where nothing fits a question about distributions."""

from collections.abc import Mapping

from registry.answers.cells import Narrowed
from registry.answers.distributions.cell_parts import kept_cells
from registry.answers.measured_words import measured_words
from registry.answers.unmatched import UNKNOWN, Rows, none_has

_ASKED = ("mode", "programme", "level", "metric", "power", "elevation")


def what_there_is(narrowed: Narrowed, rig: str, revisions: Mapping[int, str]) -> str:
    """Return which word of the question no accepted run has, and what there is; see `unmatched.none_has`.

    Empty where the model has no summary in the edition at all. Of cells that are kept one query; else three.
    """
    revision = None if narrowed.revision is None else revisions.get(narrowed.revision, "")
    wanted = {"revision": revision, **{of: getattr(narrowed, of) for of in _ASKED}}
    return none_has(_measured(narrowed, revisions, of_build=revision is not None), wanted, rig)


def _measured(narrowed: Narrowed, revisions: Mapping[int, str], *, of_build: bool) -> Rows:
    kept = kept_cells(Narrowed(narrowed.pump_model, narrowed.edition))
    if kept is None:
        where = {"pump_model": narrowed.pump_model, "edition": narrowed.edition}
        return measured_words(revisions=of_build, **where)
    cells = [told.cell for told in kept[1]]
    return Rows(
        [
            {
                **{of: getattr(cell, of) for of in _ASKED},
                "revision": UNKNOWN if cell.revision is None else revisions.get(cell.revision, UNKNOWN),
                "rig": cell.label,
            }
            for cell in cells
        ]
    )
