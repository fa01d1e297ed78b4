"""Made traces as readings, without the way through a file, and a gauge without error."""

import numpy as np

from registry.waveform import Declared, GaugeSpec, Reading, Understood

from .truth import Trace

EXACT = GaugeSpec(-20, 2000, 0.0, accuracy_mmhg=0.0)
ZEROED = Declared(zero_offset_mmhg=0.0)


def reading_of(trace: Trace) -> Reading:
    """The trace as `read` would return it, without the way through a file."""
    seconds = trace.seconds - trace.seconds[0]
    size, duration = seconds.size, float(seconds[-1])
    understood = Understood(
        "utf-8", "none", "comma", "point", 1, "t", "s", "elapsed", None, "v", "mmHg", "header",
        "vacuum is positive", (size - 1) / duration, size, duration,
    )  # fmt: skip
    return Reading(seconds, trace.vacuum, np.zeros(size, dtype=bool), understood)
