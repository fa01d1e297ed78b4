"""From the bytes of a trace file to measured values with uncertainty and findings. Pure numerics.

read(data, declared, usual) -> Reading           bytes to seconds and mmHg, or a ReadError
measure(data, gauge=..., declared=..., usual=...) -> Measured
channels_of(data, declared, usual)               the vacuum columns of a file, by side
measure_sides(data, ...) -> Sides                both sides of a double pump, and their imbalance
measure_pair(data, ...) -> Sides                 likewise by what was said for each side
"""

from .editions import CURRENT_EDITION
from .measuring import measure, measure_reading
from .reader import channels_of, read
from .sides import measure_pair, measure_sides
from .types import (
    Channel,
    CycleTable,
    Declared,
    Finding,
    GaugeSpec,
    Measured,
    Quantity,
    ReadError,
    Reading,
    Sides,
    Understood,
)

__all__ = [
    "CURRENT_EDITION",
    "Channel",
    "CycleTable",
    "Declared",
    "Finding",
    "GaugeSpec",
    "Measured",
    "Quantity",
    "ReadError",
    "Reading",
    "Sides",
    "Understood",
    "channels_of",
    "measure",
    "measure_pair",
    "measure_reading",
    "measure_sides",
    "read",
]
