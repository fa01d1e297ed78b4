"""Contrasts as bytes: a head in JSON, and the figures of fits and of behaviour as they lie in memory.

Main metrics and all others lie apart, since mostly the former alone are asked for.
"""

import json
from collections.abc import Collection, Mapping, Sequence
from typing import Any

import numpy as np

from registry.answers.comparing.contrasts import UNFITTED, Contrasts, Row, joined
from registry.answers.comparing.measured import Measured
from registry.answers.keeping.sections import Section, packed, unpacked
from registry.answers.keeping.written import written
from registry.answers.narrowing import MAIN_METRICS
from registry.answers.setting import Setting
from registry.statistics import contrasted
from registry.statistics.robust import Floats


def pack(of: Contrasts) -> bytes:
    """Write contrasts down; `read` makes the same of it, but for the order in which fits lie."""
    return packed([text for main in (True, False) for text in _texts(_those(of, main=main))])


def read(body: bytes, metrics: Collection[str] | None = None) -> Contrasts:
    """The contrasts that were written down; at least those of the metrics, where some are named."""
    sections = unpacked(body)
    half = len(sections) // 2
    main, rest = sections[:half], sections[half:]
    if metrics is None:
        return joined([_read(main), _read(rest)])
    wanted = [main] if any(metric in MAIN_METRICS for metric in metrics) else []
    if not all(metric in MAIN_METRICS for metric in metrics):
        wanted.append(rest)
    return joined([_read(one) for one in wanted])


def _those(of: Contrasts, *, main: bool) -> Contrasts:
    """What is of main metrics, or of the others."""
    rows = [row for row in of.rows if (row.setting.metric in MAIN_METRICS) == main]
    fitted = [row.fit for row in rows if row.fit != UNFITTED]
    places = {fit: place for place, fit in enumerate(fitted)}
    sides = [
        side.only([at for at, one in enumerate(side.settings) if (one.metric in MAIN_METRICS) == main])
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


def _read(texts: Sequence[Section]) -> Contrasts:
    text, *sections = texts
    head = json.loads(text.text)
    fitted, *behaviour = (np.frombuffer(section.text, "<f8") for section in sections)
    settings = [Setting(*one) for one in head["settings"]]
    clinics = [frozenset(one) for one in head["clinics"]]
    old, new = (
        _read_side(side, settings, clinics, figures.reshape(-1, 3))
        for side, figures in zip(head["sides"], behaviour, strict=True)
    )
    rows = tuple(_read_row(row, settings) for row in head["rows"])
    found = contrasted.unpacked(fitted.reshape(-1, contrasted.WIDTH))
    return Contrasts((old, new), rows, found, dict(head["labels"]))


def _side(
    side: Measured, places: Mapping[Setting, int], numbers: Mapping[frozenset[int], int]
) -> list[list[int]]:
    return [
        [places[setting] for setting in side.settings],
        [numbers[one] for one in side.clinics],
        [int(one) for one in side.undeclared],
    ]


def _read_side(
    head: Sequence[Sequence[int]],
    settings: Sequence[Setting],
    clinics: Sequence[frozenset[int]],
    behaviour: Floats,
) -> Measured:
    at, by, undeclared = head
    return Measured(
        tuple(settings[place] for place in at),
        tuple(clinics[place] for place in by),
        tuple(map(bool, undeclared)),
        behaviour,
    )


def _row(row: Row, places: Mapping[Setting, int]) -> list[Any]:
    counts = row.units, row.clinics
    return [places[row.setting], row.bands, row.alone, *counts, row.fit, row.typical, row.within]


def _read_row(row: Sequence[Any], settings: Sequence[Setting]) -> Row:
    place, bands, alone, units, clinics, fit, typical, within = row
    return Row(
        settings[place],
        tuple(bands),
        alone,
        tuple(units),
        tuple(clinics),
        fit,
        typical and tuple(typical),
        tuple(map(tuple, within)),
    )
