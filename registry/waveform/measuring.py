"""The whole way from a file to a measurement."""

from dataclasses import replace
from math import sqrt

import numpy as np

from . import kernels
from .analyse import Analysis, analyse
from .checks import (
    WEAKEST_SWING,
    cycle_checks,
    gauge_checks,
    samples_a_cycle,
    sampling_checks,
    signal_checks,
)
from .condition import Signal, Zero, condition, declared_zero, open_air
from .course import course_checks
from .cycles import Crossings, find_crossings
from .editions import CURRENT_EDITION, Edition, edition_of
from .findings import finding, holds
from .metrics import measure_metrics
from .reader import read
from .types import NOTHING_DECLARED, CycleTable, Declared, Finding, GaugeSpec, Measured, Quantity, Reading
from .uncertainty import UNDECLARED, UNKNOWN_ZERO_LIMIT, GaugeParts, rectangular

MIDDLE = 0.25  # of what bins add to an instant's error: their share half way up, far from corners (by replay)


def measure(
    data: bytes,
    *,
    gauge: GaugeSpec | None = None,
    declared: Declared = NOTHING_DECLARED,
    usual: Declared = NOTHING_DECLARED,
    edition: int = CURRENT_EDITION,
) -> Measured:
    """Measure a trace file under an edition; for `declared` and `usual` see `read`.

    Raises ReadError for a file that cannot be read, KeyError for an unknown edition. A trace that can be read
    but not trusted comes back with `holds` true and the metrics that could be computed.
    """
    return measure_reading(read(data, declared, usual), gauge=gauge, declared=declared, edition=edition)


def measure_reading(
    reading: Reading,
    *,
    gauge: GaugeSpec | None = None,
    declared: Declared = NOTHING_DECLARED,
    edition: int = CURRENT_EDITION,
) -> Measured:
    """Measure a trace that has been read already; see `measure`."""
    rules = edition_of(edition)
    signal = condition(reading, gauge)
    bounds = (rules.arm, rules.mid_reference, rules.fire)
    crossings = find_crossings(signal.seconds, signal.vacuum, bounds) if signal.seconds.size > 8 else None
    zero = _zero(reading, signal, crossings, declared)
    absolute = reading.understood.sign.startswith("absolute")
    notes = [*signal.notes, *gauge_checks(gauge, zero, absolute=absolute)]
    if crossings is None:
        flat = signal.vacuum.size == 0 or float(np.ptp(signal.vacuum)) < WEAKEST_SWING
        swing = float(np.ptp(signal.vacuum)) if signal.vacuum.size else 0.0
        notes.append(finding("weak_signal", swing=swing) if flat else finding("not_a_pump"))
        return _measured(reading, rules, zero, notes, None, {})
    signal = _corrected(signal, gauge or UNDECLARED, zero)
    analysis = analyse(signal, crossings, rules)
    notes.extend(sampling_checks(samples_a_cycle(signal, crossings)))
    if analysis is None:
        notes.append(finding("too_few_cycles", count=max(crossings.rise.size - 1, 0), needed=3))
        return _measured(reading, rules, zero, notes, None, {})
    parts = GaugeParts(
        gauge or UNDECLARED, signal.resolution, rectangular(UNKNOWN_ZERO_LIMIT) if zero is None else zero.u
    )
    metrics = measure_metrics(signal, analysis, parts, rules)
    notes.extend(signal_checks(signal, analysis))
    notes.extend(cycle_checks(analysis, crossings, metrics))
    notes.extend(course_checks(signal, analysis, crossings, metrics))
    return _measured(reading, rules, zero, notes, analysis, metrics)


def _zero(reading: Reading, signal: Signal, crossings: Crossings | None, declared: Declared) -> Zero | None:
    """Zero as declared, else from open air in the trace, else None."""
    zero = declared_zero(declared, reading.shown_sign, signal.resolution)
    if zero is not None or crossings is None:
        return zero
    ends = crossings.fall[np.isfinite(crossings.fall)]
    last = float(ends[-1]) if ends.size else float(signal.seconds[-1])
    return open_air(signal, float(crossings.rise[0]), last, crossings)


def _corrected(signal: Signal, gauge: GaugeSpec, zero: Zero | None) -> Signal:
    """Zero taken off, then the calibration of the zeroed gauge applied."""
    offset = zero.value if zero is not None else 0.0
    gain = gauge.calibration_gain
    vacuum = kernels.condition.corrected(signal.vacuum, offset, gain, gauge.calibration_offset_mmhg)
    return replace(signal, vacuum=vacuum, resolution=signal.resolution * abs(gain))


def _measured(
    reading: Reading,
    rules: Edition,
    zero: Zero | None,
    notes: list[Finding],
    analysis: Analysis | None,
    metrics: dict[str, Quantity],
) -> Measured:
    understood = replace(
        reading.understood,
        zero_mmhg=0.0 if zero is None else zero.value,
        zero_basis="unknown" if zero is None else zero.basis,
    )
    found = tuple(notes)
    table, late = _table(analysis), _late(analysis)
    return Measured(rules.number, metrics, found, understood, table, holds(found), *late)


def _late(analysis: Analysis | None) -> tuple[float, float]:
    """(seconds from the starts of cycles to mid-reference of the common one, standard error)."""
    if analysis is None:
        return 0.0, 0.0
    rise = analysis.shape.rise
    return rise.value, sqrt(max(rise.error**2 - (1 - MIDDLE**2) * rise.binned**2, 0.0))


def _table(analysis: Analysis | None) -> CycleTable:
    """Every due cycle with its levels in mmHg; empty without an analysis."""
    if analysis is None:
        none = np.empty(0)
        return CycleTable(none, none, none, none, none, ())
    return CycleTable(
        analysis.slots.start,
        analysis.period,
        analysis.peak + analysis.shape.high.value,
        analysis.residual + analysis.shape.low.value,
        analysis.duty,
        analysis.loss,
    )
