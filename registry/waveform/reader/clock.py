"""Times as a logger writes them to seconds from the first sample."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from registry.waveform.findings import finding
from registry.waveform.order import dot
from registry.waveform.types import AS_USUAL, Finding, Floats, ReadError

from .columns import Columns
from .said import alike, rates_disagree
from .stamps import Raw, bad_time, from_stamps
from .table import Stamps, Table
from .words import TIME_SCALES

LIKELY_HZ = (4.0, 20_000.0)
UNEVEN = 0.05  # of the interval: less is the logger's rounding


@dataclass(frozen=True, eq=False)
class Clock:
    """`seconds` from the first sample, what the times were, and what was noted.

    `origin_s` is the time of the first sample on the file's own clock. `by_rate` is set where a rate stands
    for times; `unlike` says in what the file is unlike the usual one of its gauge.
    """

    seconds: Floats
    unit: str
    kind: str
    started: str | None
    notes: tuple[Finding, ...] = ()
    origin_s: float = 0.0
    by_rate: bool = False
    unlike: str = ""


def to_seconds(table: Table, columns: Columns) -> Clock:
    """Seconds of every sample. ReadError: bad_time, time_goes_back, rate_unknown, rates_disagree."""
    if columns.time_kind == "none" or table.time is None:
        seconds = np.arange(table.vacuum.size) / _rate(columns)
        return Clock(seconds, "none", "declared rate", columns.started, by_rate=True)
    if columns.time_kind == "count":
        counts = _numbers(table)
        seconds, origin = (counts - counts[0]) / _rate(columns), float(counts[0]) / _rate(columns)
        _check_forward(seconds, table)
        return Clock(seconds, "samples", "sample numbers", columns.started, origin_s=origin, by_rate=True)
    notes: list[Finding] = []
    if isinstance(table.time, Stamps):
        raw = from_stamps(table.time, table)
    else:
        raw = _from_numbers(_numbers(table), columns, notes)
    _check_forward(raw.seconds, table)
    clock = Clock(raw.seconds, raw.unit, raw.kind, raw.started or columns.started, origin_s=raw.origin_s)
    if raw.seconds.size >= 3 and raw.seconds[-1] <= 0:
        by_rate = np.arange(raw.seconds.size) / _rate_instead(columns)
        return replace(clock, seconds=by_rate, notes=tuple(notes), by_rate=True)
    unlike = _compare_rates(raw.seconds, columns, notes) if columns.rate_hz is not None else ""
    return replace(clock, seconds=_even_out(raw.seconds, notes), notes=tuple(notes), unlike=unlike)


def _rate(columns: Columns) -> float:
    """The rate that stands for times; `choose` has seen to it that there is one."""
    if columns.rate_hz is None:
        raise ReadError(
            "rate_unknown", "Nothing says how often the gauge was read.", hint="Declare the rate."
        )
    return columns.rate_hz


def _rate_instead(columns: Columns) -> float:
    if columns.rate_hz is not None:
        return columns.rate_hz
    raise ReadError(
        "rate_unknown",
        "All times are the same.",
        hint="Log times with fractions of a second, or declare the rate.",
    )


def _compare_rates(raw: Floats, columns: Columns, notes: list[Finding]) -> str:
    """Compare the rate that is said with the times, which are taken; what is unlike the usual is returned."""
    said, steps = float(columns.rate_hz or 0.0), np.diff(raw)
    mean = float(raw[-1]) / max(raw.size - 1, 1)
    usual = float(np.median(steps)) or mean
    if mean <= 0 or alike(said, 1 / mean) or alike(said, 1 / usual):
        return ""
    if columns.rate_basis == "declared":
        raise rates_disagree(1 / mean, said)
    if columns.rate_basis == AS_USUAL:
        return f"the rate is {1 / mean:.4g} Hz, usually {said:.4g} Hz"
    notes.append(finding("rate_disagrees", declared=said, found=1 / mean))
    return ""


def _numbers(table: Table) -> Floats:
    numbers = np.asarray(table.time, dtype=np.float64)
    bad = np.flatnonzero(~np.isfinite(numbers))
    if bad.size:
        raise bad_time("nothing", table, int(bad[0]))
    return numbers


def _from_numbers(numbers: Floats, columns: Columns, notes: list[Finding]) -> Raw:
    """Elapsed times; without a named unit the one that gives a likely rate is taken and noted."""
    unit = columns.time_unit
    if unit is None:
        usual = float(np.median(np.abs(np.diff(numbers)))) if numbers.size > 1 else 0.0
        usual = usual or float(np.ptp(numbers)) / max(numbers.size - 1, 1) or 1.0
        likely = [name for name in ("s", "ms", "d", "us", "min") if _likely(usual * TIME_SCALES[name])]
        unit = likely[0] if likely else "s"
        notes.append(finding("time_unit_assumed", unit=unit, rate=1.0 / (usual * TIME_SCALES[unit])))
    scale = TIME_SCALES[unit]
    return Raw((numbers - numbers[0]) * scale, float(numbers[0]) * scale, unit, "elapsed")


def _likely(interval: float) -> bool:
    return LIKELY_HZ[0] <= 1.0 / interval <= LIKELY_HZ[1]


def _check_forward(seconds: Floats, table: Table) -> None:
    back = np.flatnonzero(np.diff(seconds) < 0)
    if back.size:
        raise ReadError(
            "time_goes_back",
            f"Time goes back by {seconds[back[0]] - seconds[back[0] + 1]:.4g} s.",
            table.line_of(int(back[0]) + 1),
            "Send one recording a file, in the order it was taken.",
        )


def _even_out(raw: Floats, notes: list[Finding]) -> Floats:
    """Seconds rebuilt between the ticks of a coarse clock, made even where it rounds, else as they are."""
    if raw.size < 3:
        return raw
    steps = np.diff(raw)
    repeated = int(np.sum(steps == 0))
    if repeated > 0.2 * steps.size:
        notes.append(finding("clock_rebuilt"))
        return _between_ticks(raw)
    if repeated:
        raw = _between_ticks(raw) if repeated > 3 else _nudged(raw, steps)
    index = np.arange(raw.size)
    slope = float(raw[-1]) / (raw.size - 1)
    if float(steps.max()) - float(steps.min()) < 1e-9 * slope:
        return raw
    off = raw - slope * index
    tick = 2.2 * _tick(raw)
    if float(steps.max()) - float(steps.min()) <= tick and float(off.max()) - float(off.min()) < tick:
        return _fitted(index, raw)
    close = steps[steps < 3.5 * float(np.median(steps))] if steps.max() > 3.5 * slope else steps
    jitter = float(np.std(close)) / slope
    if jitter > UNEVEN and float(np.median(steps)) > 0.5 * slope:
        notes.append(finding("clock_uneven", jitter=jitter))
    return raw


def _tick(raw: Floats) -> float:
    """The step in which the clock counts: the largest power of ten that all times are whole in, else 0."""
    some = raw[:: max(1, raw.size // 200)]
    for exponent in range(1, 7):
        tick = 10.0**-exponent
        if np.abs(some / tick - np.rint(some / tick)).max() < 1e-4:
            return tick
    return 0.0


def _fitted(index: NDArray[np.intp], raw: Floats) -> Floats:
    """Evenly spaced times by least squares; the clock only rounded them."""
    middle = (raw.size - 1) / 2
    away = index - middle
    slope = dot(away, raw) / dot(away, away)
    return np.asarray(slope * index)


def _nudged(raw: Floats, steps: Floats) -> Floats:
    """A few repeated stamps, each moved halfway to the next."""
    moved: Floats = raw.copy()
    for row in np.flatnonzero(steps == 0):
        after = raw[row + 2] if row + 2 < raw.size else raw[row + 1] + raw[-1] / raw.size
        moved[row + 1] = 0.5 * (moved[row] + max(after, moved[row]))
    return moved


def _between_ticks(raw: Floats) -> Floats:
    """Times between the ticks of a clock that repeats: even over the whole trace, or from tick to tick.

    The first sample of a tick was taken just after it, so ticks and sample numbers lie on a line, up to one
    interval; where they do not, the rate itself changed and each tick is followed.
    """
    starts = np.flatnonzero(np.diff(raw) > 0) + 1
    if starts.size < 3:
        return np.asarray(np.arange(raw.size) * (raw[-1] / max(raw.size - 1, 1)))
    ticks = raw[starts]
    away = starts - starts.mean()
    slope = dot(away, ticks) / dot(away, away)
    off = ticks - slope * starts
    index = np.arange(raw.size)
    if float(np.ptp(off)) <= 1.5 * slope:
        return np.asarray(slope * index)
    first = ticks[0] - slope * starts[0]
    last = ticks[-1] + slope * (raw.size - 1 - starts[-1])
    seconds = np.interp(index, np.r_[0, starts, raw.size - 1 + 1e-9], np.r_[first, ticks, last])
    return np.asarray(seconds - seconds[0])
