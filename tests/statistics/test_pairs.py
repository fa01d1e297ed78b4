"""One figure a unit and gauge, fair to pairs that were measured at other settings than their fellows."""

import numpy as np
import pandas as pd
import pytest

from registry.statistics.pairs import pair_table
from tests.statistics.communities import Readers


def test_additive_readings_are_taken_apart_exactly() -> None:
    quiet = Readers(within=0.0, between_gauges=0.0, odd={4: 1.2})
    readings = quiet.readings(np.random.default_rng(1))
    # Half of the settings of half of the units go missing, the high ones, so that plain means would mislead.
    kept = readings[(readings["unit"] % 2 == 0) | (readings["cell"] % 4 < 2)]
    whole, part = pair_table(readings), pair_table(kept)
    assert part["apart"].to_numpy() == pytest.approx(whole["apart"].to_numpy(), abs=1e-5)
    assert part["settings"].max() == 4
    assert part["settings"].min() == 2


def test_figures_count_from_the_median_pair_of_the_build() -> None:
    table = pair_table(Readers().readings(np.random.default_rng(2)))
    assert table.groupby("build")["apart"].median().to_numpy() == pytest.approx(np.zeros(4), abs=1e-12)
    assert len(table) == 36


def test_one_row_a_unit_and_gauge() -> None:
    readings = Readers(round_robin=1).readings(np.random.default_rng(3))
    table = pair_table(readings)
    assert len(table) == 4 * (8 + 6)
    assert not table.duplicated(["unit", "gauge"]).any()
    assert isinstance(table, pd.DataFrame)
