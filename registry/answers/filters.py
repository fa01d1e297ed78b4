"""Check what a person narrows an answer down to, and name what there is when it is not known."""

import difflib
import re
from collections.abc import Iterable, Sequence

from django.db import connection

from registry.errors import Fault, Invalid
from registry.models import Elevation, Mode, Power
from registry.models.elevation import elevation_band
from registry.models.levels import level_text
from registry.waveform.editions import edition_of

_METRES = re.compile(r"(-?\d{1,5}(?:\.\d{1,6})?) ?m?")
_BANDS = {
    "low": Elevation.LOW.value,
    "middle": Elevation.MIDDLE.value,
    "high": Elevation.HIGH.value,
    **{band.value: band.value for band in Elevation if band.value},
    "not said": Elevation.UNKNOWN.value,
}
_ARE_PROGRAMME = """
SELECT upper(one) = upper(%s) FROM unnest(%s::text[]) WITH ORDINALITY AS named (one, place) ORDER BY place
"""


def chosen_mode(mode: str | None) -> str | None:
    """Return the mode as stored. Raises Invalid on the field `mode`."""
    return _chosen("mode", mode, Mode.values)


def chosen_power(power: str | None) -> str | None:
    """Return the power source as stored. Raises Invalid on the field `power`."""
    return _chosen("power", power, [value for value in Power.values if value])


def chosen_elevation(elevation: str | float | None) -> str | None:
    """Return the band of elevation as stored, from its name or from metres; "" is that of runs without one.

    `low`, `middle` and `high` are names, and so are `not said` and what documents write. Raises Invalid on
    the field `elevation`.
    """
    if elevation is None or not str(elevation).strip():
        return None
    text = " ".join(str(elevation).split()).casefold()
    named = _BANDS.get(text)
    if named is not None:
        return named
    metres = _METRES.fullmatch(text)
    if metres is None:
        raise Invalid(
            f"There is no band of elevation '{text[:60]}'",
            hint=f"Give metres, as in 620, or one of: {', '.join(_BANDS)}.",
            faults=(Fault("not a band of elevation", field="elevation"),),
        )
    return elevation_band(float(metres[1])).value


def chosen_metric(metric: str | None, edition: int) -> str | None:
    """Return the metric of that edition. Raises Invalid on the field `metric`."""
    return _chosen("metric", metric, edition_of(edition).metrics)


def chosen_level(level: str | float | None) -> str | None:
    """Return the level as stored: "LOW" is low, 3.0 and "3.0" are 3. Raises Invalid on the field `level`."""
    if level is None:
        return None
    return level_text(_text("level", str(level), 20)) or None


def chosen_programme(programme: str | None) -> str | None:
    """Return a programme's name without spare blanks, to be compared regardless of case; "" is none.

    Raises Invalid on the field `programme`.
    """
    return None if programme is None else _text("programme", programme, 40)


class CannotTell(Exception):
    """Whether something is asked for is the database's to tell."""


def is_programme(programme: str, wanted: str) -> bool:
    """Whether a programme is the one wanted but for capitals, as the database compares them.

    Raises CannotTell beyond ASCII: only the database tells what it takes for the same letters.
    """
    if not (programme.isascii() and wanted.isascii()):
        raise CannotTell
    return programme.upper() == wanted.upper()


def are_programme(programmes: Sequence[str], wanted: str) -> list[bool]:
    """The same of several; the database is asked where it has to be, in one query."""
    try:
        return [is_programme(programme, wanted) for programme in programmes]
    except CannotTell:
        with connection.cursor() as cursor:
            cursor.execute(_ARE_PROGRAMME, [wanted, list(programmes)])
            return [same for (same,) in cursor.fetchall()]


def is_rig(label: str, wanted: str) -> bool:
    """Whether a rig's label is the one wanted, or holds it as one of its parts ("24 mm", a protector)."""
    parts = {part.strip().casefold() for part in (label, *label.split("/"))}
    return " ".join(wanted.split()).casefold() in parts


def _text(field: str, value: str, longest: int) -> str:
    text = " ".join(value.split())
    if len(text) <= longest and text.isprintable():
        return text
    raise Invalid(
        f"No {field} is written like this",
        hint=f"A {field} is at most {longest} printable characters.",
        faults=(Fault(f"must be at most {longest} printable characters", field=field),),
    )


def _chosen(field: str, value: str | None, known: Iterable[str]) -> str | None:
    if value is None or not value.strip():
        return None
    names = list(known)
    tidied = value.strip().casefold()
    if tidied in names:
        return tidied
    near = difflib.get_close_matches(tidied, names, n=1)
    raise Invalid(
        f"There is no {field} '{value.strip()[:60]}'",
        hint=f"Did you mean {near[0]}?" if near else f"Known: {', '.join(names)}.",
        faults=(Fault(f"not a known {field}", field=field),),
    )
