"""Quantities as people should read them: no more digits than their uncertainty carries.

The rule is that of the GUM (JCGM 100:2008, 7.2.6): an uncertainty in two significant digits, its value to the
same decimal place.
"""

from math import floor, isfinite, log10

_UNCERTAIN_DIGITS = 2
_FREE_DIGITS = 4  # of a value that has no uncertainty
# Beyond these, zeros that tell nothing would fill the line.
_LARGEST_PLAIN, _SMALLEST_PLAIN = 1e7, 1e-4
_FINEST = 1e-14  # of a value: below it a floating-point number holds no digits
_LEAST = 1e-300


def shown(value: float, u: float) -> str:
    """Return `value ± u`; the value alone, in four digits, where there is no uncertainty to go by.

    >>> shown(231.2468, 1.5731)
    '231.2 ± 1.6'
    >>> shown(3.2, 124.0)
    '0 ± 120'
    """
    if not (isfinite(u) and u > max(_FINEST * abs(value), _LEAST)):
        return _alone(value)
    largest = max(abs(value), u)
    places = _UNCERTAIN_DIGITS - 1 - _exponent(u, _UNCERTAIN_DIGITS)
    if _SMALLEST_PLAIN <= largest < _LARGEST_PLAIN:
        return f"{_fixed(value, places)} ± {_fixed(u, places)}"
    exponent = _exponent(largest, _UNCERTAIN_DIGITS)
    scale = 10.0**-exponent
    mantissas = (_fixed(number * scale, places + exponent) for number in (value, u))
    return f"({' ± '.join(mantissas)})e{exponent}"


def _alone(value: float) -> str:
    if not isfinite(value):
        return "-"
    if value == 0 or not _SMALLEST_PLAIN <= abs(value) < _LARGEST_PLAIN:
        return f"{value:.{_FREE_DIGITS}g}"
    places = _FREE_DIGITS - 1 - _exponent(abs(value), _FREE_DIGITS)
    text = _fixed(value, places)
    return text.rstrip("0").rstrip(".") if "." in text else text


def _exponent(number: float, digits: int) -> int:
    """The power of ten of a number's first digit once it is rounded, so that 0.0996 counts as 0.10."""
    power = floor(log10(number))
    return floor(log10(round(number, digits - 1 - power)))


def _fixed(number: float, places: int) -> str:
    text = f"{round(number, places):.{max(places, 0)}f}"
    return text.lstrip("-") if not text.strip("-0.") else text
