"""A small community for alert tests: clinics with a gauge each, units of one build read by all of them."""

from dataclasses import dataclass, field

import numpy as np

from registry.models import PumpModel, UnitSummary
from tests import factories

CLINICS = ("north", "south", "east", "west", "lake")
LEVELS = ("1", "2", "3")


@dataclass
class Community:
    """Units spread over clinics; `gains` are the gauges' relative scales, `units` single units' factors."""

    model: PumpModel
    gains: dict[str, float] = field(default_factory=dict)
    units: dict[str, float] = field(default_factory=dict)
    per_clinic: int = 5
    spread: float = 0.02
    label: str | None = "A"
    seed: int = 3

    def measure(self) -> None:
        """Store the summaries of every unit at every level: peak, mean and rate."""
        rng = np.random.default_rng(self.seed)
        rows = []
        for c, code in enumerate(CLINICS):
            for k in range(self.per_clinic):
                serial = f"LK{1000 * c + k:06}"
                own = float(np.exp(rng.normal(0, self.spread))) * self.units.get(serial, 1.0)
                rows += self._rows(code, serial, own, rng)
        UnitSummary.objects.bulk_create(rows)

    def _rows(self, code: str, serial: str, own: float, rng: np.random.Generator) -> list[UnitSummary]:
        unit = factories.unit(self.model, serial, self.label)
        gain = self.gains.get(code, 1.0)
        rows = []
        for n, level in enumerate(LEVELS):
            noise = float(np.exp(rng.normal(0, 0.004)))
            peak = (120 + 50 * n) * own * noise
            for metric, value in (
                ("peak_vacuum", peak * gain),
                ("mean_vacuum", 0.45 * peak * gain),
                ("cycle_rate", 60 * float(np.exp(rng.normal(0, 0.01)))),
            ):
                rows.append(factories.unsaved_summary(unit, value, code, level=level, metric=metric))
        return rows
