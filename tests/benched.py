"""A community whose benches are known: all read alike but one, and one unit of each build went round."""

from collections.abc import Sequence

import numpy as np

from registry.models import PumpModel
from tests import factories

CLINICS = ("north", "south", "east", "west", "hill")
RATE = {"metric": "cycle_rate", "metric_unit": "cycles/min", "sum_squares": 0.1, "u_random": 0.1}


def benched(clinics: Sequence[str] = CLINICS, *, high: float = 1.08, u_systematic: float = 2.0) -> PumpModel:
    """Store units of two builds at each clinic, the last of which reads 8 % high, and units sent round."""
    factories.edition()
    rng = np.random.default_rng(1)
    model = factories.pump_model()
    for b, label in enumerate("AB"):
        for c, code in enumerate(clinics):
            factor = high if code == clinics[-1] else 1.0
            for k in range(2):
                unit = factories.unit(model, f"LK{1000 * b + 100 * c + k:06}", label)
                value = (220 + 20 * b) * (1 + rng.normal(0, 0.01))
                factories.summary(unit, factor * value, code, u_systematic=u_systematic)
                factories.summary(unit, 70 + 4 * b + rng.normal(0, 0.5), code, u_systematic=0.1, **RATE)
            sent = factories.unit(model, f"LK{1000 * b + 999:06}", label)
            sound = (221 + 20 * b) * (1 + rng.normal(0, 0.004))
            factories.summary(sent, factor * sound, code, u_systematic=u_systematic)
    return model
