"""Bands of elevation: the database and the function agree, whatever was said."""

import pytest

from registry.models import BenchSession, Elevation
from registry.models.elevation import elevation_band
from tests import factories

SAID = [
    ({}, Elevation.UNKNOWN),
    ({"elevation_m": -12.0}, Elevation.LOW),
    ({"elevation_m": 499.9}, Elevation.LOW),
    ({"elevation_m": 500.0}, Elevation.MIDDLE),
    ({"elevation_m": 1499.0}, Elevation.MIDDLE),
    ({"elevation_m": 1500.0}, Elevation.HIGH),
    ({"ambient_kpa": 101.3}, Elevation.LOW),
    ({"ambient_kpa": 95.47}, Elevation.LOW),
    ({"ambient_kpa": 95.4}, Elevation.MIDDLE),
    ({"ambient_kpa": 84.6}, Elevation.MIDDLE),
    ({"ambient_kpa": 84.5}, Elevation.HIGH),
    # The pressure is what a pump works against, wherever the map puts the clinic.
    ({"elevation_m": 480.0, "ambient_kpa": 95.0}, Elevation.MIDDLE),
    ({"elevation_m": 1600.0, "ambient_kpa": 101.0}, Elevation.LOW),
]


@pytest.mark.parametrize(("said", "band"), SAID)
def test_the_band_of_what_was_said(said, band) -> None:
    assert elevation_band(**said) is band


@pytest.mark.django_db
@pytest.mark.parametrize(("said", "band"), SAID)
def test_the_database_works_out_the_same(said, band) -> None:
    person = factories.operator("north")
    made = BenchSession.objects.create(clinic=person.clinic, operator=person, **said)
    # It is known at once and to whoever reads the sitting later.
    assert made.elevation == band
    assert BenchSession.objects.get(pk=made.pk).elevation == band
