"""Read the short texts in which people write a range, a resolution or an accuracy."""

import re
from dataclasses import dataclass

from registry.waveform.units import mmhg_per, unit_named

# The ambient pressure is 760 mmHg at sea level and 825 mmHg (110 kPa) at most; there is room for a round
# end of scale above it. Below 20 mmHg no pump is felt (common practice, no published source).
DEEPEST_MMHG = 1100.0
SHALLOWEST_MMHG = 20.0

_NUMBER = r"[-+−]?\d+(?:[.,]\d+)?"


@dataclass(frozen=True)
class Accuracy:
    """A limit of error: an absolute part in mmHg and a part relative to the reading (half-widths, added)."""

    mmhg: float
    fraction: float


def read_pressure(text: str) -> float:
    """Return "0.1 mmHg" or "0.01 kPa" in mmHg. Raises ValueError saying what is expected."""
    match = re.fullmatch(rf"\s*({_NUMBER})\s*([^\s\d.,].*)", text)
    if not match:
        raise ValueError('must be a number with its unit, as in "0.1 mmHg"')
    return _value(match[1]) * _factor(match[2])


def read_range(text: str) -> tuple[float, float]:
    """Return the vacuum range of "0..400 mmHg" or "-60..0 kPa" in mmHg, low end first.

    A range that lies below zero is taken as pressure relative to ambient, where vacuum counts as negative.
    """
    match = re.fullmatch(rf"\s*({_NUMBER})\s*(?:\.\.|to|…)\s*({_NUMBER})\s*([^\s\d.,].*)", text)
    if not match:
        raise ValueError('must be two numbers and their unit, as in "0..400 mmHg" or "-60..0 kPa"')
    low, high = sorted(_value(part) * _factor(match[3]) for part in (match[1], match[2]))
    if low == high:
        raise ValueError("must have two different ends")
    return (-high + 0.0, -low) if abs(low) > abs(high) else (low, high)


def read_accuracy(text: str, full_scale_mmhg: float) -> Accuracy:
    """Return the limit of error of "0.5 % FS", "1 % reading", "2 mmHg" or a sum of such with "+".

    Raises ValueError saying what is expected.
    """
    mmhg = fraction = 0.0
    for term in re.sub(r"±|\+/-", "", text).split("+"):
        percent = re.fullmatch(rf"\s*({_NUMBER})\s*%\s*(?:of\s+)?(.*?)\s*", term)
        scale = percent[2].casefold().replace(" ", "") if percent else ""
        if percent and scale in ("fs", "fullscale", "f.s.", "span", "range"):
            mmhg += _value(percent[1]) / 100 * full_scale_mmhg
        elif percent and scale in ("reading", "rdg", "value"):
            fraction += _value(percent[1]) / 100
        elif percent:
            raise ValueError('must say per cent of what: "0.5 % FS" or "1 % reading"')
        else:
            mmhg += read_pressure(term)
    if mmhg < 0 or fraction < 0 or mmhg + fraction == 0:
        raise ValueError("must be above zero")
    return Accuracy(mmhg, fraction)


def _value(text: str) -> float:
    return float(text.replace(",", ".").replace("−", "-"))


def _factor(unit: str) -> float:
    name = unit_named(unit)
    if name is None:
        raise ValueError(f"'{unit.strip()}' is no unit of pressure: use mmHg, kPa, mbar, inHg, cmH2O, psi")
    return mmhg_per(name)
