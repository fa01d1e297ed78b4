"""Units of pressure and the words files use for them.

Factors are exact by definition: mmHg and inHg conventional (13 595.1 kg/m3 * 9.806 65 m/s2), water likewise
at 1000 kg/m3, psi = 0.453 592 37 * 9.806 65 / 0.0254**2 Pa. They agree with the 7-digit table of NIST SP 811.
"""

import re
from collections.abc import Mapping
from types import MappingProxyType

PA_PER_MMHG = 133.322387415

PASCALS: Mapping[str, float] = MappingProxyType(
    {
        "mmHg": PA_PER_MMHG,
        "cmHg": 10 * PA_PER_MMHG,
        "inHg": 25.4 * PA_PER_MMHG,
        "Torr": 101325 / 760,
        "Pa": 1.0,
        "hPa": 100.0,
        "kPa": 1000.0,
        "MPa": 1e6,
        "mbar": 100.0,
        "bar": 1e5,
        "cmH2O": 98.0665,
        "mmH2O": 9.80665,
        "inH2O": 249.08891,
        "psi": 0.45359237 * 9.80665 / 0.0254**2,
        "atm": 101325.0,
    }
)

_SYNONYMS: Mapping[str, str] = MappingProxyType(
    {
        **{name.casefold(): name for name in PASCALS if name != "MPa"},
        "mm hg": "mmHg",
        "millimeters of mercury": "mmHg",
        "millimetres of mercury": "mmHg",
        "in hg": "inHg",
        '"hg': "inHg",
        "inches of mercury": "inHg",
        "cm hg": "cmHg",
        "cm h2o": "cmH2O",
        "cmh₂o": "cmH2O",
        "cmwc": "cmH2O",
        "mm h2o": "mmH2O",
        "in h2o": "inH2O",
        "mmh₂o": "mmH2O",
        "inh₂o": "inH2O",
        "n/m2": "Pa",
        "n/m²": "Pa",
        "kn/m2": "kPa",
        "kn/m²": "kPa",
        "inwc": "inH2O",
        "millibar": "mbar",
        "mb": "mbar",
        "pascal": "Pa",
        "kilopascal": "kPa",
        "hectopascal": "hPa",
        "psig": "psi",
        "psia": "psi",
        "lbf/in2": "psi",
        "barg": "bar",
        "mbarg": "mbar",
        "kpag": "kPa",
    }
)
_SPACE = re.compile(r"\s+")
_REFERENCE = re.compile(
    r" ?[(\[]?(?: (?:abs|absolute|absolut|gauge|gage|rel|relative|relativ|vac|g|a)|\((?:g|a)\))\.?[)\]]?$"
)


def unit_named(text: str) -> str | None:
    """The unit a word stands for, or None. Case is ignored, save that 'MPa' is not 'mPa'.

    A word for the reference (`kPa abs`, `mbar (g)`) may follow; it says nothing of the size.
    """
    known = _SYNONYMS.get(text.casefold())
    if known is not None:
        return known
    word = _SPACE.sub(" ", text.strip().strip(".")).replace("_", " ")
    if word == "MPa":
        return "MPa"
    word = word.casefold()
    return _SYNONYMS.get(word) or _SYNONYMS.get(_REFERENCE.sub("", word).replace(". ", " ").replace(".", ""))


def mmhg_per(unit: str) -> float:
    """How many mmHg one of the unit is. KeyError for a name outside PASCALS."""
    return PASCALS[unit] / PA_PER_MMHG


def converted(value: float, unit: str, to: str) -> float | None:
    """A value in the unit of a metric; None where that cannot be.

    Into mmHg from any unit of pressure by the words of `unit_named`; else from the same unit alone.
    """
    if unit.strip().casefold() == to.casefold():
        return value
    named = unit_named(unit)
    return value * mmhg_per(named) if named is not None and to == "mmHg" else None


def convertible(to: str) -> tuple[str, ...]:
    """The units that `converted` takes for a metric in this unit, by their usual names, its own first."""
    return tuple(dict.fromkeys((to, *PASCALS))) if to == "mmHg" else (to,)
