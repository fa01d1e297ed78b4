"""Numbers as people should read them: no more digits than their uncertainty carries.

The rule is that of the GUM (JCGM 100:2008, 7.2.6): an uncertainty in two significant digits, its value to
the same decimal place.
"""

import math
from typing import Any, TypeGuard

_NOTHING = "-"
# Beyond these, zeros that tell nothing would fill the line.
_LARGEST_PLAIN, _SMALLEST_PLAIN = 1e7, 1e-4
_FINEST = 1e-14  # of a value: below it a floating-point number holds no digits
_LEAST = 1e-300


def is_number(value: Any) -> TypeGuard[float]:
    """Whether this JSON value is a finite number (true and false are not)."""
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def percent(chance: float) -> str:
    """A chance or a share that was estimated, in per cent; such a one is never none and never all."""
    if chance > 0.99:
        return "over 99 %"
    return "below 1 %" if chance < 0.01 else f"{100 * chance:.0f} %"


def decimals_of(uncertainty: Any) -> int | None:
    """Decimal places that keep two significant digits of an uncertainty; negative for tens and more.

    None when there is no positive uncertainty to go by.
    """
    if not is_number(uncertainty) or uncertainty <= 0:
        return None
    # Formatting rounds first, so that 0.0996 counts as 0.10 and not as 0.099.
    return 1 - int(f"{uncertainty:.1e}".split("e")[1])


def fixed(value: Any, decimals: int | None) -> str:
    """The value to this many decimal places; with None in four significant digits; `-` when there is none."""
    if not is_number(value):
        return _NOTHING
    if decimals is None:
        return _significant(value, 4)
    text = f"{round(value, decimals):.{max(decimals, 0)}f}"
    return text.lstrip("-") if not text.strip("-0.") else text


def with_uncertainty(value: Any, uncertainty: Any) -> str:
    """`value ± uncertainty`, both to the second significant digit of the uncertainty.

    Very large and very small ones share a power of ten. An uncertainty finer than the digits that a
    floating-point value holds is none.

    >>> with_uncertainty(231.2468, 1.5731)
    '231.2 ± 1.6'
    >>> with_uncertainty(1.2e12, 3.4e10)
    '(1.200 ± 0.034)e12'
    """
    decimals = decimals_of(uncertainty)
    if decimals is None or not is_number(value) or uncertainty <= max(_FINEST * abs(value), _LEAST):
        return fixed(value, None)
    largest = max(abs(value), uncertainty)
    if _SMALLEST_PLAIN <= largest < _LARGEST_PLAIN:
        return f"{fixed(value, decimals)} ± {fixed(uncertainty, decimals)}"
    power = int(f"{largest:.1e}".split("e")[1])
    scale = 10.0**-power
    return (
        f"({fixed(value * scale, decimals + power)} ± {fixed(uncertainty * scale, decimals + power)})e{power}"
    )


def spread(value: Any) -> str:
    """A standard deviation in two significant digits; a true zero is `0`."""
    if not is_number(value):
        return _NOTHING
    return fixed(value, decimals_of(value)) if value > 0 else "0"


def _significant(value: float, digits: int) -> str:
    if value == 0:
        return "0"
    if isinstance(value, int):
        return str(value)
    if not _SMALLEST_PLAIN <= abs(value) < _LARGEST_PLAIN:
        return f"{value:.{digits}g}"
    places = digits - 1 - int(f"{value:.{digits - 1}e}".split("e")[1])
    text = f"{round(value, places):.{max(places, 0)}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
