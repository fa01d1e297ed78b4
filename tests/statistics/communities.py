"""Simulate what a community of gauges and units reads, for tests of alert statistics."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import pandas as pd


@dataclass(frozen=True)
class Readers:
    """Units of several builds dealt round clinics of one gauge each; all spreads are relative.

    `gains` are factors of gauges, `odd` factors of units; `round_robin` units are read by every gauge.
    """

    clinics: int = 6
    builds: int = 4
    units: int = 9
    settings: int = 4
    between_units: float = 0.03
    between_gauges: float = 0.005
    declared: float = 0.005
    within: float = 0.004
    round_robin: int = 0
    gains: Mapping[int, float] = field(default_factory=dict)
    odd: Mapping[int, float] = field(default_factory=dict)

    def readings(self, rng: np.random.Generator) -> pd.DataFrame:
        """A table of readings as `pair_table` takes it."""
        leaning = rng.normal(0, self.between_gauges, self.clinics)
        leaning += np.log([self.gains.get(gauge, 1.0) for gauge in range(self.clinics)])
        rows = []
        for build in range(self.builds):
            base = rng.uniform(4, 5.6, self.settings)
            for k in range(self.units):
                unit = build * self.units + k
                own = rng.normal(0, self.between_units) + np.log(self.odd.get(unit, 1.0))
                home = [unit % self.clinics]
                for gauge in range(self.clinics) if k < self.round_robin else home:
                    noise = rng.normal(0, self.within, self.settings)
                    for setting, value in enumerate(base + own + leaning[gauge] + noise):
                        cell = build * self.settings + setting
                        rows.append((cell, build, gauge, gauge, unit, value, self.declared))
        columns = ["cell", "build", "gauge", "clinic", "unit", "log", "systematic"]
        return pd.DataFrame(rows, columns=columns)
