"""From the bytes of a trace file to measured values with uncertainty and findings. Pure numerics.

read(data, declared) -> Reading                 bytes to seconds and mmHg, or a ReadError
measure(data, gauge=..., declared=...) -> Measured
"""

from .editions import CURRENT_EDITION
from .measuring import measure, measure_reading
from .reader import read
from .types import (
    CycleTable,
    Declared,
    Finding,
    GaugeSpec,
    Measured,
    Quantity,
    ReadError,
    Reading,
    Understood,
)

__all__ = [
    "CURRENT_EDITION",
    "CycleTable",
    "Declared",
    "Finding",
    "GaugeSpec",
    "Measured",
    "Quantity",
    "ReadError",
    "Reading",
    "Understood",
    "measure",
    "measure_reading",
    "read",
]
