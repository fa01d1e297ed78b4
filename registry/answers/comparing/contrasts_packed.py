"""Contrasts as bytes: a head in JSON, and the figures of fits and of behaviour as they lie in memory.

The groups of metrics lie apart. All is written by columns, and what is alike at many settings once, with a
column of where it stands.
"""

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from itertools import chain, count
from typing import Any, TypeVar

import numpy as np
import orjson

from registry.answers.comparing.contrasts import UNFITTED, Contrasts, Row
from registry.answers.comparing.groups import GROUPS, group_of
from registry.answers.comparing.measured import Measured
from registry.answers.keeping.sections import Section, packed, unpacked
from registry.answers.keeping.written import written
from registry.answers.setting import PLACE, Setting
from registry.statistics.contrasted import WIDTH, Contrasted
from registry.statistics.robust import Floats

Thing = TypeVar("Thing")
_BEHAVIOUR = 3


def pack(of: Contrasts) -> bytes:
    """Write contrasts down; `read` makes the same of it, but for the order in which fits lie."""
    return packed([text for group in GROUPS for text in _texts(of, group)])


def read(body: bytes, metrics: Collection[str] | None = None) -> Contrasts:
    """The contrasts that were written down; at least those of the metrics, where some are named."""
    groups = [[section.text for section in texts] for texts in _wanted(unpacked(body), metrics)]
    heads = [orjson.loads(texts[0]) for texts in groups]
    tables = [_read_table(texts[1], WIDTH) for texts in groups]
    settings = [_read_settings(head) for head in heads]
    old, new = (
        _read_side(
            [head["sides"][side] for head in heads],
            settings,
            [head["clinics"] for head in heads],
            np.concatenate([_read_table(texts[2 + side], _BEHAVIOUR) for texts in groups]),
        )
        for side in (0, 1)
    )
    # Fits of a group come after those of the groups before it.
    starts = np.cumsum([0, *map(len, tables)]).tolist()
    ranked = sorted(chain.from_iterable(map(_read_rows, heads, settings, starts)))
    labels = {rig: label for head in heads for rig, label in head["labels"]}
    return Contrasts((old, new), tuple(row for _, row in ranked), Contrasted(np.concatenate(tables)), labels)


def _wanted(sections: Sequence[Section], metrics: Collection[str] | None) -> list[Sequence[Section]]:
    """The texts of the groups of those metrics, or of all."""
    half = len(sections) // 2
    kept = set(map(group_of, metrics)) if metrics else GROUPS
    groups = zip(GROUPS, (sections[:half], sections[half:]), strict=True)
    return [texts for group, texts in groups if group in kept]


def _texts(of: Contrasts, group: str) -> list[bytes]:
    """What is of the metrics of a group."""
    ranked = [(rank, row) for rank, row in enumerate(of.rows) if group_of(row.setting.metric) == group]
    old, new = (
        side.only([at for at, one in enumerate(side.settings) if group_of(one.metric) == group])
        for side in of.sides
    )
    settings = _numbered(chain(old.settings, new.settings, (row.setting for _, row in ranked)))
    clinics = _numbered(chain(old.clinics, new.clinics))
    head = {
        "labels": list(of.labels.items()),
        **_settings(settings),
        "clinics": [sorted(one) for one in clinics],
        "sides": [_side(side, settings, clinics) for side in (old, new)],
        **_rows(ranked, settings),
    }
    fits = np.array([row.fit for _, row in ranked if row.fit != UNFITTED], np.intp)
    return [written(head), *map(_table, (of.found.some(fits).table, old.behaviour, new.behaviour))]


def _numbered(things: Iterable[Thing]) -> dict[Thing, int]:
    """All there are, each once, with its place among them."""
    return {thing: place for place, thing in enumerate(dict.fromkeys(things))}


def _table(of: Floats) -> bytes:
    """A table column by column: most columns are alike from row to row, which compresses well."""
    return of.astype("<f8").tobytes("F")


def _read_table(text: bytes, width: int) -> Floats:
    table: Floats = np.frombuffer(text, "<f8").reshape(width, -1).T
    return table


def _settings(of: Iterable[Setting]) -> dict[str, Any]:
    places, metrics = _numbered(one.place for one in of), _numbered(one[len(PLACE) :] for one in of)
    at = [[places[one.place] for one in of], [metrics[one[len(PLACE) :]] for one in of]]
    return {"places": list(places), "metrics": list(metrics), "settings": at}


def _read_settings(head: Mapping[str, Any]) -> list[Setting]:
    places, metrics = head["places"], head["metrics"]
    return [Setting._make(places[place] + metrics[of]) for place, of in zip(*head["settings"], strict=True)]


def _side(
    side: Measured, settings: Mapping[Setting, int], clinics: Mapping[frozenset[int], int]
) -> list[list[int]]:
    return [
        [settings[one] for one in side.settings],
        [clinics[one] for one in side.clinics],
        [int(one) for one in side.undeclared],
    ]


def _read_side(
    columns: Sequence[Sequence[Sequence[int]]],
    settings: Sequence[Sequence[Setting]],
    clinics: Sequence[Sequence[Sequence[int]]],
    behaviour: Floats,
) -> Measured:
    by = [list(map(frozenset, of)) for of in clinics]
    return Measured(
        tuple(of[place] for of, (at, _, _) in zip(settings, columns, strict=True) for place in at),
        tuple(of[place] for of, (_, at, _) in zip(by, columns, strict=True) for place in at),
        tuple(bool(one) for _, _, undeclared in columns for one in undeclared),
        behaviour,
    )


def _rows(ranked: Sequence[tuple[int, Row]], settings: Mapping[Setting, int]) -> dict[str, Any]:
    """Rows with their ranks among those of all groups."""
    alike = _numbered(_alike(row) for _, row in ranked)
    columns = [
        [rank for rank, _ in ranked],
        [settings[row.setting] for _, row in ranked],
        [alike[_alike(row)] for _, row in ranked],
        [row.typical for _, row in ranked],
        [row.within for _, row in ranked],
    ]
    return {"alike": list(alike), "rows": columns}


def _alike(row: Row) -> tuple[Any, ...]:
    """What is mostly the same in all rows."""
    return row.bands, row.alone, row.units, row.clinics


def _read_rows(head: Mapping[str, Any], settings: Sequence[Setting], start: int) -> Iterator[tuple[int, Row]]:
    """Rows with their ranks. Those that were fitted are those that have no typical values."""
    alike = [(tuple(of), alone, tuple(units), tuple(clinics)) for of, alone, units, clinics in head["alike"]]
    fits = count(start)
    for rank, setting, like, typical, within in zip(*head["rows"], strict=True):
        both = tuple(typical) if typical else None
        fit = next(fits) if both is None else UNFITTED
        yield rank, Row._make((settings[setting], *alike[like], fit, both, tuple(map(tuple, within))))
