"""Variances of kins of units, where gauges cannot tell one kin's scatter from the other's."""

import numpy as np

from registry.statistics.crossed import Readings
from registry.statistics.henderson import nothing_of_their_own, spread
from registry.statistics.tables import abreast


def test_kins_of_which_every_shared_gauge_read_one_unit_each_count_alike():
    readings = Readings(
        cell=np.array([0, 0, 0, 0, 0, 1, 1]),
        unit=np.arange(7),
        group=np.array([0, 1, 2, 3, 4, 1, 4]),
        mean=np.array([21.343, 21.272, 21.328, 21.215, 21.234, 21.230, 21.224]),
        runs=np.ones(7),
        systematic=np.array([0.704, 0.069, 0.738, 0.900, 0.067, 0.070, 0.067]),
        random=0.06,
        squares=0.0,
        freedom=0,
    )
    ((_, tables),) = abreast([readings])
    found = spread(tables, nothing_of_their_own(tables))
    assert found is not None
    assert found.unit.shape == (1, 1)
    assert np.isfinite(found.unit).all()
