"""Ambient pressure by elevation, and gauge units."""

PA_PER_MMHG = 133.322387415

MMHG_PER_UNIT = {
    "mmHg": 1.0,
    "kPa": 1000.0 / PA_PER_MMHG,
    "mbar": 100.0 / PA_PER_MMHG,
    "inHg": 3386.388640 / PA_PER_MMHG,
    "cmH2O": 98.0665 / PA_PER_MMHG,
    "psi": 6894.757293 / PA_PER_MMHG,
}
"""Conventional values: mmHg and inHg at 0 °C, cmH2O at 4 °C, psi from the pound and the inch."""


def ambient_kpa(elevation_m: float) -> float:
    """Pressure of the standard atmosphere at a geopotential elevation below 11 km, in kPa.

    p = 101.325 (1 - 0.0065 h / 288.15)^5.25588 (ISO 2533; the exponent is g M / (R L)).
    """
    return float(101.325 * (1.0 - 0.0065 * elevation_m / 288.15) ** 5.25588)


def ambient_mmhg(elevation_m: float) -> float:
    """The same in mmHg."""
    return ambient_kpa(elevation_m) * MMHG_PER_UNIT["kPa"]
