"""The one next question, or the one next setting to record, that would tell most."""

import difflib
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from django.db.models import Count

from registry.answers.identifying.bench import OnBench
from registry.answers.identifying.pieces import Builds, Piece
from registry.answers.identifying.traces import METRICS, Setting, Stock, in_words
from registry.answers.wording import figure
from registry.errors import Fault, Invalid
from registry.models import Unit
from registry.statistics.evidence import RIGHT_BY_BASIS, mark_likelihoods, tag_likelihoods
from registry.statistics.information import WORTH_ASKING, information
from registry.statistics.predictive import Reading
from registry.statistics.recorded import expected_information
from registry.statistics.robust import Floats

# Looking costs less than recording: it goes first when it tells as much to within this many bits.
_AS_MUCH = 0.05
# A serial's answer is right so often where it names a build, on the whole.
_RIGHT = RIGHT_BY_BASIS["observed"]
# An unlisted build's serial is put down to a listed build less often than those of listed ones.
_UNLISTED_SHARE = 0.3
_NOT_MARKS = ("serial", "firmware", "setting")
# Only where builds lie furthest apart by their plain means is it worked out what a run would tell.
MOST_SETTINGS = 6


@dataclass(frozen=True)
class Question:
    """What might be asked next: how much it would tell in bits, in words, and what it is about."""

    bits: float
    ask: str
    about: dict[str, Any]

    def document(self) -> dict[str, Any]:
        """As the answer tells it; what does not apply is null."""
        nothing = dict.fromkeys(("key", "options", "mode", "programme", "level", "rig", "power"))
        return {**nothing, **self.about, "ask": self.ask, "bits": figure(self.bits)}


def passed_over(builds: Builds, skipped: Iterable[str]) -> set[str]:
    """Return the questions not to be put: serial, firmware, setting, or marks, whatever their capitals.

    Raises Invalid on the field `skip` for what is none of them, with the nearest names in `extra["nearest"]`.
    """
    names = {name.casefold(): name for name in (*_NOT_MARKS, *builds.marks)}
    return {_question_named(" ".join(said.split()), names) for said in skipped if said.strip()}


def _question_named(said: str, names: Mapping[str, str]) -> str:
    if said.casefold() in names:
        return names[said.casefold()]
    near = [names[near] for near in difflib.get_close_matches(said.casefold(), names, n=3)]
    raise Invalid(
        f"skip: there is no question '{said[:60]}'",
        hint=f"Did you mean {', '.join(near)}?" if near else f"Known: {', '.join(names.values())}.",
        faults=(Fault("no question of that name", field="skip"),),
        extra={"nearest": near},
    )


def next_question(
    builds: Builds,
    stock: Stock,
    pieces: Sequence[Piece],
    bench: OnBench,
    chances: Floats,
    skipped: Collection[str] = (),
) -> Question | None:
    """Return what would tell most, None where nothing is worth asking.

    What was said is not asked again, nor what is `skipped`, as `passed_over` gives it.
    """
    asked = {piece.kind for piece in pieces} | set(skipped)
    looked_at = {piece.more.get("key") for piece in pieces if piece.kind == "mark"} | set(skipped)
    found = [
        *_of_marks(builds, looked_at, chances),
        *([] if "firmware" in asked else _of_firmware(builds, chances)),
        *([] if "serial" in asked else _of_serial(builds, chances)),
    ]
    looks = max(found, key=lambda one: one.bits, default=None)
    settings = () if "setting" in skipped else _of_settings(stock, bench, chances)
    records = max(settings, key=lambda one: one.bits, default=None)
    best = looks
    if records is not None and (looks is None or records.bits > looks.bits + _AS_MUCH):
        best = records
    return best if best is not None and best.bits >= WORTH_ASKING else None


def _of_marks(builds: Builds, looked_at: Iterable[str | None], chances: Floats) -> Iterator[Question]:
    for key, values in builds.marks.items():
        if key in looked_at or len(values) < 2:
            continue
        known = builds.values_of(key)
        answers = np.column_stack([mark_likelihoods(value, known, values) for value in values])
        bits = _parting(chances, answers)
        if bits is not None:
            ask = f"What is the {key} like: {_either(values)}?"
            yield Question(bits, ask, {"kind": "mark", "key": key, "options": values})


def _of_firmware(builds: Builds, chances: Floats) -> Iterator[Question]:
    tags = list(dict.fromkeys(tag for own in builds.tags for tag in own))
    if len(tags) < 2:
        return
    answers = np.column_stack([tag_likelihoods(tag, builds.tags) for tag in tags])
    bits = _parting(chances, np.column_stack([answers, np.maximum(1 - answers.sum(axis=1), 0.0)]))
    if bits is not None:
        ask = f"Which firmware does it show: {_either(tags)}, or another?"
        yield Question(bits, ask, {"kind": "firmware", "options": tags})


def _parting(chances: Floats, answers: Floats) -> float | None:
    """Bits an answer tells; None where it would hardly part the listed builds, whatever else it tells."""
    listed = chances[:-1]
    if listed.sum() <= 0 or information(listed / listed.sum(), answers[:-1]) < WORTH_ASKING:
        return None
    return information(chances, answers)


def _of_serial(builds: Builds, chances: Floats) -> Iterator[Question]:
    """A serial tells as often as units that were measured could be put down to a revision: one query."""
    if not any(builds.model.serial_schemes.all()):
        return
    units = Unit.objects.filter(pump_model=builds.model).aggregate(all=Count("pk"), known=Count("revision"))
    named = (units["known"] + 1) / (units["all"] + 2)
    size = len(builds.revisions)
    wrong = (1 - _RIGHT) / max(size - 1, 1)
    answers = np.full((size + 1, size + 1), named * wrong)
    answers[range(size), range(size)] = named * (_RIGHT if size > 1 else 1.0)
    answers[-1, :-1] = named * _UNLISTED_SHARE / size
    answers[:, -1] = 1 - answers[:, :-1].sum(axis=1)
    yield Question(information(chances, answers), "What is the serial on its label?", {"kind": "serial"})


def _of_settings(stock: Stock, bench: OnBench, chances: Floats) -> Iterator[Question]:
    """Settings at which two builds or more were measured and the pump in hand was not."""
    settings = _candidates(stock, bench.settings)
    if not settings:
        return
    known = stock.known([*bench.settings, *settings])
    for setting in settings:
        ahead = [
            Reading((setting, metric), 0, 0.0, 0.0, known.middle((setting, metric)).declared ** 0.5)
            for metric in METRICS
            if len(known.measured((setting, metric))) >= 2
        ]
        if not ahead:
            continue
        bits = expected_information(known, chances, bench.readings, ahead)
        rig = stock.rigs[setting.rig].label
        about = {name: getattr(setting, name) for name in ("mode", "programme", "level", "power")}
        ask = f"Record one run at {in_words(setting, stock.rigs)}."
        yield Question(bits, ask, {"kind": "setting", **about, "rig": rig})


def _candidates(stock: Stock, recorded: Sequence[Setting]) -> list[Setting]:
    """One a mode, programme and level: on the rig and power in use, else the best known."""
    usable = [setting for setting in stock.blocks if stock.measured(setting) >= 2]
    if recorded:
        around = {setting[3:] for setting in recorded}
        usable = [setting for setting in usable if setting[3:] in around]
    done = {setting[:3] for setting in recorded}
    by_words: dict[tuple[str, ...], list[Setting]] = {}
    for setting in usable:
        if setting[:3] not in done:
            by_words.setdefault(setting[:3], []).append(setting)
    best = [one for settings in by_words.values() if (one := stock.best(settings)) is not None]
    return sorted(best, key=stock.apart, reverse=True)[:MOST_SETTINGS]


def _either(options: Sequence[str]) -> str:
    return options[0] if len(options) == 1 else f"{', '.join(options[:-1])} or {options[-1]}"
