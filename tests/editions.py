"""A second edition for tests, with other limits than the first, and traces that it judges otherwise."""

from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType

import numpy as np

from registry.waveform import editions
from registry.waveform.editions import Edition

# Cycles start lower on the edge, so duty and rate move; and a cycle must rise to nine tenths to count, so a
# short recording of uneven cycles has too few of them.
SECOND = replace(editions.EDITIONS[1], number=2, mid_reference=0.4, fire=0.9)


def both() -> Mapping[int, Edition]:
    """The first edition and the second."""
    return MappingProxyType({1: editions.EDITIONS[1], 2: SECOND})


def register() -> None:
    """Let this process know the second edition for as long as it lives."""
    editions.EDITIONS = both()


def uneven_trace(seed: int = 1) -> bytes:
    """Return 8 s of cycles that are strong and weak in turns: few cycles for the first edition, too few for
    the second."""
    t = np.arange(0, 8, 0.02)
    cycle, phase = np.floor(t - 2), (t - 2) % 1
    peak = 200 * (1 + 0.08 * (-1.0) ** cycle)
    wave = np.interp(phase, [0, 0.2, 0.5, 0.6, 1], [0, 1, 1, 0, 0]) * (peak - 20) + 20
    vacuum = np.where(t < 2, 0.0, wave) + np.random.default_rng(seed).normal(0, 0.3, t.size)
    rows = "\n".join(f"{a:.3f},{b:.2f}" for a, b in zip(t, vacuum, strict=True))
    return f"time (s),vacuum (mmHg)\n{rows}\n".encode()
