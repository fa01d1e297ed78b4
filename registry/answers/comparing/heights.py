"""At which elevation clinics held their sittings: kept as a part, so that a comparison need not ask for it.

It is a part of its own, since sittings at another elevation make it old, but no contrast.
"""

import json
from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from statistics import median
from typing import Any

from django.db import connection

from registry.answers.keeping.parts import PartKind
from registry.answers.keeping.written import written

_SEA_LEVEL_KPA = 101.325
_OF_CLINICS = """
SELECT DISTINCT elevation, clinic_id, elevation_m, ambient_kpa FROM registry_benchsession
WHERE clinic_id = ANY (%s) AND elevation = ANY (%s)
"""
_OF_MODEL = """
SELECT DISTINCT elevation, clinic_id, elevation_m, ambient_kpa FROM registry_benchsession
WHERE elevation <> '' AND clinic_id = ANY (ARRAY(
    SELECT DISTINCT clinic_id FROM registry_unitsummary WHERE pump_model_id = %s AND edition_id = %s
))
"""
# By band of elevation and clinic, in metres.
Heights = Mapping[tuple[str, int], float]


def heights_of(bands: Collection[str], clinics: Iterable[int]) -> Heights:
    """Return the median elevation of each clinic's sittings in each band, where any was said. One query."""
    return _asked(_OF_CLINICS, [list(clinics), list(bands)])


def elevation_m(ambient_kpa: float) -> float:
    """The elevation at which the standard atmosphere has that pressure (troposphere, ISO 2533)."""
    return float(44330.77 * (1 - (ambient_kpa / _SEA_LEVEL_KPA) ** 0.190263))


def read_heights(body: bytes) -> Heights:
    """What a part tells."""
    return {(band, clinic): metres for band, clinic, metres in json.loads(body)}


def _make(model: int, edition: int, key: str) -> bytes:  # noqa: ARG001 - there is one
    """Of all clinics that measured the model."""
    heights = _asked(_OF_MODEL, [model, edition])
    return written([[*place, metres] for place, metres in heights.items()])


def _asked(question: str, values: list[Any]) -> Heights:
    # Putting the question together would cost more than asking it.
    with connection.cursor() as cursor:
        cursor.execute(question, values)
        rows = cursor.fetchall()
    found: dict[tuple[str, int], list[float]] = defaultdict(list)
    for band, clinic, metres, kpa in rows:
        found[band, clinic].append(elevation_m(kpa) if kpa is not None else float(metres or 0.0))
    return {place: median(heights) for place, heights in found.items()}


HEIGHTS = PartKind("heights", _make, lambda *_: ("",), sittings=True)
