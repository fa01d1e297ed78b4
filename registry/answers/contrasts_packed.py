"""Contrasts as bytes: a head in JSON, and the figures of fits and of behaviour as they lie in memory."""

import json
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from registry.answers.contrasts import Contrasts, Row
from registry.answers.measured import Measured
from registry.answers.setting import Setting
from registry.statistics.contrasted import WIDTH, unpacked
from registry.statistics.robust import Floats

_SIZE = 4  # bytes of the head's length


def pack(of: Contrasts) -> bytes:
    """Write contrasts down; `read` makes the same of it, but for rounding of none."""
    settings = sorted({setting for side in of.sides for setting in side.settings})
    rows = {row.setting for row in of.rows} - set(settings)
    settings += sorted(rows)
    places = {setting: place for place, setting in enumerate(settings)}
    clinics = list({clinics: None for side in of.sides for clinics in side.clinics})
    head = {
        "labels": {str(key): label for key, label in of.labels.items()},
        "settings": settings,
        "clinics": [sorted(one) for one in clinics],
        "sides": [
            _side(side, places, {one: place for place, one in enumerate(clinics)}) for side in of.sides
        ],
        "rows": [
            [
                places[row.setting],
                row.bands,
                row.alone,
                row.units,
                row.clinics,
                row.fit,
                row.typical,
                row.within,
            ]
            for row in of.rows
        ],
        "fits": of.found.run.size,
    }
    text = json.dumps(head, separators=(",", ":")).encode()
    figures = [of.found.packed(), *(side.behaviour for side in of.sides)]
    return b"".join(
        [len(text).to_bytes(_SIZE, "little"), text, *(one.astype("<f8").tobytes() for one in figures)]
    )


def read(body: bytes) -> Contrasts:
    """The contrasts that were written down."""
    end = _SIZE + int.from_bytes(body[:_SIZE], "little")
    head = json.loads(body[_SIZE:end])
    figures = np.frombuffer(body, "<f8", offset=end) if end % 8 == 0 else np.frombuffer(body[end:], "<f8")
    settings = [Setting(*one) for one in head["settings"]]
    clinics = [frozenset(one) for one in head["clinics"]]
    fitted = figures[: head["fits"] * WIDTH].reshape(head["fits"], WIDTH)
    sides, at = [], fitted.size
    for side in head["sides"]:
        after = at + 3 * len(side["settings"])
        sides.append(_read_side(side, settings, clinics, figures[at:after].reshape(-1, 3)))
        at = after
    rows = tuple(_read_row(row, settings) for row in head["rows"])
    labels = {int(key): label for key, label in head["labels"].items()}
    return Contrasts((sides[0], sides[1]), rows, unpacked(fitted), labels)


def _side(
    side: Measured, places: Mapping[Setting, int], clinics: Mapping[frozenset[int], int]
) -> dict[str, list[Any]]:
    return {
        "settings": [places[setting] for setting in side.settings],
        "clinics": [clinics[one] for one in side.clinics],
        "undeclared": [int(one) for one in side.undeclared],
    }


def _read_side(
    head: Mapping[str, list[int]],
    settings: Sequence[Setting],
    clinics: Sequence[frozenset[int]],
    behaviour: Floats,
) -> Measured:
    return Measured(
        tuple(settings[place] for place in head["settings"]),
        tuple(clinics[place] for place in head["clinics"]),
        tuple(map(bool, head["undeclared"])),
        behaviour,
    )


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
