"""Parts of a rig: which of them belongs to which build, and what else the rig was made of."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from registry.answers.comparing.seen import Seen
from registry.errors import Fault, Invalid
from registry.models import Rig
from registry.models.bench import BETWEEN_PARTS, NOT_SAID

PARTS = ("protector", "valve", "tubing", "flange_mm", "load_ml")
_ALIASES = {"flange": "flange_mm", "load": "load_ml"}
_UNITS = {"flange_mm": "mm", "load_ml": "mL"}
# The values of PARTS of a rig; empty where nobody said.
Words = tuple[str, ...]


@dataclass(frozen=True)
class Parts:
    """The part's value that belongs to the old build and the one that belongs to the new; None if unknown."""

    part: str
    old: str | None
    new: str | None


def chosen_part(part: str) -> str:
    """Return the part as rigs name it. Raises Invalid on the field `part`."""
    folded = part.strip().casefold()
    named = _ALIASES.get(folded, folded)
    if named in PARTS:
        return named
    raise Invalid(
        f"A rig has no part '{part.strip()[:60]}'",
        hint=f"Parts are: {', '.join(PARTS)}.",
        faults=(Fault("not a part of a rig", field="part"),),
    )


def called(part: str) -> str:
    """The part as people say it: flange, for flange_mm."""
    return next((short for short, named in _ALIASES.items() if named == part), part)


def words_of(rigs: Iterable[int]) -> dict[int, Words]:
    """The parts of rigs in words, by key: one query."""
    return {rig.pk: _in_words(rig) for rig in Rig.objects.filter(pk__in=set(rigs))}


def _in_words(rig: Rig) -> Words:
    return tuple(_value_of(rig, part) for part in PARTS)


def _value_of(rig: Rig, part: str) -> str:
    value = getattr(rig, part)
    if part in _UNITS:
        return "" if value is None else f"{value:g} {_UNITS[part]}"
    return str(value)


def value_of(rig: Words, part: str) -> str:
    """The part's value in words; empty when nobody said."""
    return rig[PARTS.index(part)]


def rest_of(rig: Words, part: str) -> str:
    """The rig in one line without the part: what has to be alike for the part to be what differs."""
    others = (value for other, value in zip(PARTS, rig, strict=True) if other != part)
    return BETWEEN_PARTS.join(value or NOT_SAID for value in others)


def find_parts(
    old: Sequence[Seen],
    new: Sequence[Seen],
    values: Mapping[int, str],
    part: str,
    given: tuple[str | None, str | None],
) -> Parts:
    """Tell which of the part's values is whose: as `given`, else by what each build was measured with most.

    Of all pairs of different values the one that most units of either build were measured with, each its own;
    then most runs. `values` gives the part's value of each rig. Raises Invalid on `old_part` when two pairs
    do equally well, or when a value given was never used.
    """
    known = sorted({value for value in values.values() if value})
    wanted = [
        _matching(known, text, field) for text, field in zip(given, ("old_part", "new_part"), strict=True)
    ]
    if wanted[0] is not None and wanted[0] == wanted[1]:
        raise Invalid(
            f"Both builds cannot have the {part} {wanted[0]} of their own",
            hint=f"Known: {', '.join(known)}.",
            faults=(Fault("is the same as old_part", field="new_part"),),
        )
    counted = [_counted(side, values) for side in (old, new)]
    pairs = {
        (one, other): tuple(
            a + b for a, b in zip(counted[0].get(one, (0, 0)), counted[1].get(other, (0, 0)), strict=True)
        )
        for one in known
        for other in known
        if one != other and wanted[0] in (None, one) and wanted[1] in (None, other)
    }
    if not pairs:
        own = wanted[0] or max(counted[0], key=lambda value: counted[0][value], default=None)
        return Parts(part, own, None if wanted[1] == own else wanted[1])
    best = max(pairs.values())
    found = [pair for pair, size in pairs.items() if size == best]
    if len(found) > 1:
        raise Invalid(
            f"Which {part} belongs to which build cannot be told from what they were measured with",
            hint=f"Say old_part and new_part; known: {', '.join(known)}.",
            faults=(Fault("must be given", field="old_part"),),
        )
    return Parts(part, *found[0])


def _matching(known: list[str], text: str | None, field: str) -> str | None:
    if text is None or not text.strip():
        return None
    folded = " ".join(text.split()).casefold()
    for value in known:
        if folded in (value.casefold(), value.casefold().rpartition(" ")[0]):
            return value
    raise Invalid(
        f"Nothing was measured with '{text.strip()[:60]}'",
        hint=f"Known: {', '.join(known) or 'none'}.",
        faults=(Fault("was never measured with", field=field),),
    )


def _counted(side: Sequence[Seen], values: Mapping[int, str]) -> dict[str, tuple[int, int]]:
    """Units and runs by the part's value; a run is counted once, by its most frequent metric."""
    units: dict[str, int] = {}
    runs: dict[str, Counter[str]] = {}
    for seen in side:
        value = values[seen.setting.rig]
        if value:
            units[value] = units.get(value, 0) | seen.units
            runs.setdefault(value, Counter())[seen.setting.metric] += seen.runs
    return {value: (of.bit_count(), max(runs[value].values())) for value, of in units.items()}
