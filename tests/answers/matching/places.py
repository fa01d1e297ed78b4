"""What is ahead at invented places of pump models, put together without a database."""

from collections.abc import Sequence

import numpy as np

from registry.answers.matching.ahead import FIGURES, Ahead, pairs_of
from registry.answers.matching.leaning import no_leaning
from registry.answers.places import Named, Place

METRICS = ("cycle_rate", "peak_vacuum", "residual_vacuum")


def ahead_at(
    model: int, levels: int, metrics: Sequence[str] = METRICS, *, units: int = 9, clinics: int = 3
) -> Ahead:
    """A model with so many levels; figures are drawn with the model's number as the seed."""
    chance = np.random.default_rng(model)
    places = tuple(
        Named(
            Place(
                model, 1, "expression", f"P{level % 2}", str(level), "single", 1 + level % 2, "mains", "low"
            ),
            f"Model {model:02d}",
            "A",
            ("flat / 24 mm", "bell / 27 mm")[level % 2],
        )
        for level in range(levels)
    )
    figures = np.zeros((levels, len(metrics), len(FIGURES)))
    figures[..., 0], figures[..., 1] = units, clinics
    means = chance.uniform(50, 150, (levels, len(metrics)))
    for at in (2, 3, 4):
        figures[..., at] = means
    figures[..., 5], figures[..., 6] = chance.uniform(2, 9, means.shape), 20.0
    together = chance.uniform(-0.5, 0.7, (levels, len(pairs_of(len(metrics))))).astype(np.float32)
    counts = np.tile([units, clinics], (levels, 1))
    return Ahead(places, tuple(metrics), figures, together, counts, no_leaning())
