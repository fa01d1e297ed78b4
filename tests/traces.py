"""Trace files for tests that need a readable one and do not care about its shape."""

import numpy as np


def trace_bytes(
    *, rate_cpm: float = 60.0, peak: float = 200.0, seconds: float = 30.0, hertz: float = 50.0, seed: int = 1
) -> bytes:
    """Return a comma-separated trace: open air for 2 s, then trapezoid cycles with a little noise."""
    rng = np.random.default_rng(seed)
    t = np.arange(0, seconds, 1 / hertz)
    phase = ((t - 2) * rate_cpm / 60) % 1
    wave = np.interp(phase, [0, 0.2, 0.5, 0.6, 1], [20, peak, peak, 20, 20])
    vacuum = np.where(t < 2, 0.0, wave) + rng.normal(0, 0.3, t.size)
    rows = "\n".join(f"{a:.3f},{b:.2f}" for a, b in zip(t, vacuum, strict=True))
    return f"time (s),vacuum (mmHg)\n{rows}\n".encode()
