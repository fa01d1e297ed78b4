"""What two sides were measured at where nothing fits a question about them."""

from typing import Any

from registry.answers.comparing.asked_words import asked_words, words_in
from registry.answers.comparing.side_parts import kept_sides
from registry.answers.comparing.sides import Side, Sides, firmware_blocks
from registry.answers.measured_words import measured_words
from registry.answers.narrowing import Narrowed, rig_labels
from registry.answers.unmatched import Rows, none_has
from registry.waveform.editions import edition_of


def what_there_is(sides: Sides, asked: Narrowed) -> str:
    """Return which word of a question neither side has, or one of them has not, and what there is instead.

    "none has level 9; there are 1, 2, 3", or "of revision B none has power battery; there is mains"; see
    `unmatched.none_has`. Empty where nothing was narrowed down, or where that is not why. A few queries.
    """
    wanted, rig = asked_words(asked.where), (asked.rig or "").strip()
    if not wanted and not rig:
        return ""
    sides = sides.located()
    both = _measured(sides, asked.edition, asked.metrics)
    if "metric" in wanted and not all(both):
        both = _measured(sides, asked.edition, tuple(edition_of(asked.edition).metrics))
    if told := none_has(Rows([*both[0].rows, *both[1].rows]), wanted, rig):
        return told
    alone = zip(sides.names, (none_has(side, wanted, rig) for side in both), strict=True)
    return next((f"of {name} {told}" for name, told in alone if told), "")


def _measured(sides: Sides, edition: int, metrics: tuple[str, ...]) -> tuple[Rows, Rows]:
    """All that both sides were measured at in some metrics: of parts as they are kept, else of summaries."""
    where: dict[str, Any] = {"edition": edition, "metric__in": metrics}
    found = kept_sides(sides, Narrowed(edition, metrics, where))
    if found is not None:
        return words_in(found.old, found.labels), words_in(found.new, found.labels)
    return _of_summaries(sides, sides.old, where), _of_summaries(sides, sides.new, where)


def _of_summaries(sides: Sides, side: Side, where: dict[str, Any]) -> Rows:
    if side.firmware is not None:
        blocks = firmware_blocks(sides.pump_model.pk, side.firmware, where)
        return words_in(blocks, rig_labels(blocks))
    of_it = {"unit__revision": side.revision} if side.unit is None else {"unit": side.unit}
    return measured_words(revisions=False, pump_model=sides.pump_model, **of_it, **where)
