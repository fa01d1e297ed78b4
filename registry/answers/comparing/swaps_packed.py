"""What part swaps are told from, as bytes: a head in JSON, and figures as they lie in memory."""

import json
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from registry.answers.comparing.parts import Words
from registry.answers.comparing.seen import Seen
from registry.answers.comparing.swapped import FIGURES, ORDERS, Key, Swap, Swapped, Told
from registry.answers.keeping.sections import packed, unpacked
from registry.answers.keeping.written import written
from registry.answers.setting import Setting
from registry.statistics.robust import Floats

Splits = Mapping[Swap, Sequence[tuple[Key, Sequence[Told]]]]


def pack(sides: Sequence[Sequence[Seen]], rigs: Mapping[int, Words], splits: Splits) -> bytes:
    """Write down both sides, the words of rigs, and all splits in each of ORDERS; `read` reads it."""
    crowds = list(dict.fromkeys(one[3:] + one[1:2] for side in sides for one in side))
    places = {crowd: place for place, crowd in enumerate(crowds)}
    head = {
        "rigs": list(rigs.items()),
        "crowds": [[f"{units:x}", sorted(clinics), int(unlike)] for clinics, unlike, units in crowds],
        "sides": [[[one.setting, places[one[3:] + one[1:2]], one.runs] for one in side] for side in sides],
        "splits": [[swap, [_row(*one) for one in rows]] for swap, rows in splits.items()],
    }
    figures = [[told.figures for told in of] for rows in splits.values() for _, of in rows]
    values = np.array(figures, float).reshape(-1, len(ORDERS), FIGURES)
    return packed([written(head), values.astype("<f8").tobytes()])


def read(bodies: Sequence[bytes]) -> Swapped:
    """What was written down, of several bodies about the same two sides."""
    sides: tuple[list[Seen], list[Seen]] = ([], [])
    rigs: dict[int, Words] = {}
    found: dict[Swap, list[tuple[Any, Floats]]] = {}
    for body in bodies:
        text, values = unpacked(body)
        head = json.loads(text.text)
        rigs |= {key: tuple(words) for key, words in head["rigs"]}
        crowds = [(int(units, 16), frozenset(clinics), bool(one)) for units, clinics, one in head["crowds"]]
        for side, rows in zip(sides, head["sides"], strict=True):
            side += [_seen(setting, crowds[place], runs) for setting, place, runs in rows]
        if head["splits"]:
            figures = np.frombuffer(values.text, "<f8").reshape(-1, len(ORDERS), FIGURES)
            for swap, rows in head["splits"]:
                mine, figures = figures[: len(rows)], figures[len(rows) :]
                found.setdefault(Swap(*swap), []).append((rows, mine))
    for side in sides:
        side.sort(key=lambda one: one.setting)

    def split(swap: Swap, order: int) -> dict[Key, Told]:
        return dict(
            _told(row, figures)
            for rows, of in found.get(swap, [])
            for row, figures in zip(rows, of[:, order].tolist(), strict=True)
        )

    return Swapped(sides, rigs, split)


def _seen(setting: Sequence[Any], crowd: tuple[int, frozenset[int], bool], runs: int) -> Seen:
    units, clinics, undeclared = crowd
    return Seen(Setting(*setting), units, runs, clinics, undeclared)


def _row(key: Key, several: Sequence[Told]) -> list[Any]:
    told = several[0]
    return [key.setting, key.rest, int(told.unlike), told.between, told.aside]


def _told(row: Sequence[Any], figures: Sequence[float]) -> tuple[Key, Told]:
    setting, rest, unlike, (old, new), aside = row
    known = [None if value != value else value for value in figures]  # noqa: PLR0124 - NaN alone is not itself
    return Key(Setting(*setting), rest), Told(known, bool(unlike), (old, new), aside)
