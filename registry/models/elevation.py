"""Bands of elevation: runs recorded in air of about one density are alike, others are not.

Common practice, no published source: below 500 m a pump loses less than 6 % of the vacuum it could make at
sea level, to 1500 m up to 17 %, above it more. What counts is the air, so a pressure goes by its own
bounds, which are those of the standard atmosphere (ISO 2533) at the same elevations.
"""

from django.db import models
from django.db.models import Case, Value, When
from django.db.models.functions import Cast


class Elevation(models.TextChoices):
    """The band a sitting was held in, as documents write it."""

    LOW = "below 500 m", "below 500 m"
    MIDDLE = "500-1500 m", "500 to 1500 m"
    HIGH = "above 1500 m", "above 1500 m"
    UNKNOWN = "", "not said"


# A band begins at its lower bound: 500 m itself is in the middle one, 1500 m in the high one.
BOUNDS_M = (500.0, 1500.0)
BOUNDS_KPA = (95.4608, 84.5560)


def elevation_band(elevation_m: float | None = None, ambient_kpa: float | None = None) -> Elevation:
    """Return the band of what was said of a sitting; where both are there, the pressure counts."""
    if ambient_kpa is not None:
        thin = sum(ambient_kpa <= bound for bound in BOUNDS_KPA)
    elif elevation_m is not None:
        thin = sum(elevation_m >= bound for bound in BOUNDS_M)
    else:
        return Elevation.UNKNOWN
    return (Elevation.LOW, Elevation.MIDDLE, Elevation.HIGH)[thin]


def band_in_database() -> Case:
    """The same as `elevation_band`, of a sitting's columns."""
    return Case(
        When(ambient_kpa__lte=BOUNDS_KPA[1], then=_said(Elevation.HIGH)),
        When(ambient_kpa__lte=BOUNDS_KPA[0], then=_said(Elevation.MIDDLE)),
        When(ambient_kpa__isnull=False, then=_said(Elevation.LOW)),
        When(elevation_m__gte=BOUNDS_M[1], then=_said(Elevation.HIGH)),
        When(elevation_m__gte=BOUNDS_M[0], then=_said(Elevation.MIDDLE)),
        When(elevation_m__isnull=False, then=_said(Elevation.LOW)),
        default=_said(Elevation.UNKNOWN),
    )


def _said(band: Elevation) -> Cast:
    return Cast(Value(band.value), models.CharField(max_length=12))
