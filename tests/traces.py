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


def bare_bytes(*, unit_mmhg: float = 7.500615758, **how: float) -> bytes:
    """Return the same vacuum as a single column of negative numbers: no heading, no unit, no times."""
    lines = trace_bytes(**how).decode().splitlines()[1:]  # type: ignore[arg-type]
    return "".join(f"{-float(line.split(',')[1]) / unit_mmhg:.4f}\n" for line in lines).encode()


def two_sided_bytes(*, weaker: float = 0.9, late_s: float = 0.2, hertz: float = 50.0, seed: int = 1) -> bytes:
    """Return a trace of both sides of a double pump; the right one is weaker and pulls later."""
    left = _columns(trace_bytes(hertz=hertz, seed=seed))
    right = _columns(trace_bytes(hertz=hertz, seed=seed + 1000))
    late = round(late_s * hertz)
    rows = "\n".join(
        f"{t},{a},{weaker * float(b):.2f}" for (t, a), (_, b) in zip(left[late:], right, strict=False)
    )
    return f"time (s),left (mmHg),right (mmHg)\n{rows}\n".encode()


def _columns(data: bytes) -> list[tuple[str, str]]:
    lines = data.decode().splitlines()[1:]
    return [(t, v) for t, v in (line.split(",") for line in lines)]
