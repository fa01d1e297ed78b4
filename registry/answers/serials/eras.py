"""A range that goes on from one form of serial into the form that succeeded it."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from decimal import Decimal
from typing import Any

from django.db import connection

from registry.answers.serials.asked import Asked, AskedRange
from registry.models import SerialScheme
from registry.models.serials import Place

# The first and the last serial that is known of a series: of a unit, or an end of a stored span.
_ENDS = """
WITH known AS (
    (SELECT key, serial FROM registry_unit WHERE scheme_id = %(scheme)s AND series = %(series)s
     ORDER BY key LIMIT 1)
    UNION ALL
    (SELECT key, serial FROM registry_unit WHERE scheme_id = %(scheme)s AND series = %(series)s
     ORDER BY key DESC LIMIT 1)
    UNION ALL
    SELECT lower(keys), first FROM registry_serialspan WHERE scheme_id = %(scheme)s AND series = %(series)s
    UNION ALL
    SELECT upper(keys), last FROM registry_serialspan WHERE scheme_id = %(scheme)s AND series = %(series)s
)
(SELECT key, serial FROM known WHERE key IS NOT NULL ORDER BY key LIMIT 1)
UNION ALL
(SELECT key, serial FROM known WHERE key IS NOT NULL ORDER BY key DESC LIMIT 1)
"""


def legs_of(asked: Asked, schemes: Sequence[SerialScheme]) -> Iterator[AskedRange]:
    """Yield the part of a range that lies in each form of serial, in order of era.

    A form ends with the last serial known of it and begins with the first; one of which nothing is known on
    the way is passed over. Both ends are of the same series, and their schemes' eras are in order.
    """
    first_era, last_era = asked.first.scheme.era or 0, asked.last.scheme.era or 0
    on_the_way = [s for s in schemes if s.era is not None and first_era <= s.era <= last_era]
    for scheme in sorted(on_the_way, key=lambda scheme: scheme.era or 0):
        ends = _known_ends(scheme, asked.first)
        begin = asked.first if scheme.pk == asked.first.scheme.pk else ends[0] if ends else None
        end = asked.last if scheme.pk == asked.last.scheme.pk else ends[1] if ends else None
        if scheme.pk == asked.first.scheme.pk and (end is None or end.key < asked.first.key):
            end = asked.first
        if scheme.pk == asked.last.scheme.pk and (begin is None or begin.key > asked.last.key):
            begin = asked.last
        if begin is not None and end is not None:
            yield AskedRange(begin, end)


def _known_ends(scheme: SerialScheme, of: Place) -> tuple[Place, Place] | None:
    with connection.cursor() as cursor:
        cursor.execute(_ENDS, {"scheme": scheme.pk, "series": of.series})
        rows = cursor.fetchall()
    if not rows:
        return None
    low, high = (
        replace(of, serial=serial, scheme=scheme, key=Decimal(key)) for key, serial in (rows[0], rows[-1])
    )
    return low, high


def between_eras(before: Mapping[str, Any], after: Mapping[str, Any]) -> dict[str, Any]:
    """The stretch between the last serial known of one form and the first of the next; it is unknown."""
    return {
        **after,
        "first": before["last"],
        "last": after["first"],
        "first_excluded": True,
        "last_excluded": True,
        "revision": None,
        "basis": "unknown",
        "units": 0,
        "clinics": 0,
        "first_seen": None,
        "last_seen": None,
        "confidence": None,
        "supporting": 0,
        "contradicting": 0,
        "probability": None,
        "conflicts": [],
        "lacks": "here one form of serial follows another; the maker's word would tell where",
    }
