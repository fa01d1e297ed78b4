"""Contrasts as bytes: a head in JSON, and the figures of fits and of behaviour as they lie in memory.

The groups of metrics lie apart.
"""

import json
from collections.abc import Collection, Mapping, Sequence
from typing import Any

import numpy as np

from registry.answers.comparing.contrasts import UNFITTED, Contrasts, Row
from registry.answers.comparing.groups import GROUPS, group_of
from registry.answers.comparing.measured import Measured
from registry.answers.keeping.sections import Section, packed, unpacked
from registry.answers.keeping.written import written
from registry.answers.setting import Setting
from registry.statistics import contrasted
from registry.statistics.robust import Floats


def pack(of: Contrasts) -> bytes:
    """Write contrasts down; `read` makes the same of it, but for the order in which fits lie."""
    return packed([text for group in GROUPS for text in _texts(_those(of, group))])


def read(body: bytes, metrics: Collection[str] | None = None) -> Contrasts:
    """The contrasts that were written down; at least those of the metrics, where some are named."""
    groups = _wanted(unpacked(body), metrics)
    heads = [json.loads(texts[0].text) for texts in groups]
    fitted, *behaviour = (
        np.concatenate([np.frombuffer(texts[which].text, "<f8") for texts in groups]) for which in (1, 2, 3)
    )
    settings = [[Setting(*one) for one in head["settings"]] for head in heads]
    clinics = [[frozenset(one) for one in head["clinics"]] for head in heads]
    old, new = (
        _read_side([head["sides"][which] for head in heads], settings, clinics, figures.reshape(-1, 3))
        for which, figures in enumerate(behaviour)
    )
    # Fits of a group come after those of the groups before it.
    starts = np.cumsum([0, *(len(texts[1].text) // (8 * contrasted.WIDTH) for texts in groups)]).tolist()
    rows = tuple(
        _read_row(row, of, start)
        for head, of, start in zip(heads, settings, starts, strict=False)
        for row in head["rows"]
    )
    found = contrasted.unpacked(fitted.reshape(-1, contrasted.WIDTH))
    return Contrasts((old, new), rows, found, {rig: label for head in heads for rig, label in head["labels"]})


def _wanted(sections: Sequence[Section], metrics: Collection[str] | None) -> list[Sequence[Section]]:
    """The texts of the groups of those metrics, or of all."""
    half = len(sections) // 2
    kept = set(map(group_of, metrics)) if metrics else GROUPS
    groups = zip(GROUPS, (sections[:half], sections[half:]), strict=True)
    return [texts for group, texts in groups if group in kept]


def _those(of: Contrasts, group: str) -> Contrasts:
    """What is of the metrics of a group."""
    rows = [row for row in of.rows if group_of(row.setting.metric) == group]
    fitted = [row.fit for row in rows if row.fit != UNFITTED]
    places = {fit: place for place, fit in enumerate(fitted)}
    sides = [
        side.only([at for at, one in enumerate(side.settings) if group_of(one.metric) == group])
        for side in of.sides
    ]
    moved = tuple(row._replace(fit=places.get(row.fit, UNFITTED)) for row in rows)
    return Contrasts((sides[0], sides[1]), moved, of.found.some(np.array(fitted, np.intp)), of.labels)


def _texts(of: Contrasts) -> list[bytes]:
    measured_at = {setting for side in of.sides for setting in side.settings}
    settings = sorted(measured_at | {row.setting for row in of.rows})
    places = {setting: place for place, setting in enumerate(settings)}
    clinics = list(dict.fromkeys(clinics for side in of.sides for clinics in side.clinics))
    numbers = {one: place for place, one in enumerate(clinics)}
    head = {
        "labels": list(of.labels.items()),
        "settings": settings,
        "clinics": [sorted(one) for one in clinics],
        "sides": [_side(side, places, numbers) for side in of.sides],
        "rows": [_row(row, places) for row in of.rows],
    }
    figures = [of.found.packed(), *(side.behaviour for side in of.sides)]
    return [written(head), *(one.astype("<f8").tobytes() for one in figures)]


def _side(
    side: Measured, places: Mapping[Setting, int], numbers: Mapping[frozenset[int], int]
) -> list[list[int]]:
    return [
        [places[setting] for setting in side.settings],
        [numbers[one] for one in side.clinics],
        [int(one) for one in side.undeclared],
    ]


def _read_side(
    heads: Sequence[Sequence[Sequence[int]]],
    settings: Sequence[Sequence[Setting]],
    clinics: Sequence[Sequence[frozenset[int]]],
    behaviour: Floats,
) -> Measured:
    return Measured(
        tuple(of[place] for of, (at, _, _) in zip(settings, heads, strict=True) for place in at),
        tuple(of[place] for of, (_, by, _) in zip(clinics, heads, strict=True) for place in by),
        tuple(bool(one) for _, _, undeclared in heads for one in undeclared),
        behaviour,
    )


def _row(row: Row, places: Mapping[Setting, int]) -> list[Any]:
    counts = row.units, row.clinics
    return [places[row.setting], row.bands, row.alone, *counts, row.fit, row.typical, row.within]


def _read_row(row: Sequence[Any], settings: Sequence[Setting], start: int) -> Row:
    place, bands, alone, units, clinics, fit, typical, within = row
    return Row(
        settings[place],
        tuple(bands),
        alone,
        tuple(units),
        tuple(clinics),
        fit if fit == UNFITTED else start + fit,
        typical and tuple(typical),
        tuple(map(tuple, within)),
    )
