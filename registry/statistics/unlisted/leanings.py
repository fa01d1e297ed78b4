"""How likely the readings of benches are, with or without a step of their units after any of them.

A bench leans by some figure, which now and then jumps: gauges are recalibrated or go off, rigs change. Units
scatter about it, and some are wild. A step of the build moves the units of all benches alike; what one bench
can do by itself speaks for none. All figures are in usual spreads between units.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from registry.statistics.mixed import Codes
from registry.statistics.robust import Floats, middles
from registry.statistics.unlisted.rows import Rows

# Steps that are weighed: of sizes that matter, either way. The first stands for none.
_SIZES = np.array([1.5, 2.0, 2.5, 3.0, 3.5, 4.0, 5.0, 6.0, 7.0, 8.0, 10.0, 12.0, 15.0, 18.0])
SIZES = np.concatenate([[0.0], _SIZES, -_SIZES])
# What units scatter by, in usual spreads, and how likely that is beforehand: common practice, no published
# source. It is about what sixteen units would tell.
SCALES = np.array([0.8, 1.0, 1.25, 1.6])
SCALES_LIKELY = np.array([0.27, 0.47, 0.235, 0.025])
# The share of wild units: small on most benches, large on some (a batch of membranes that stick).
_WILD, _WILD_LIKELY, _WILD_SPREAD = np.array([0.03, 0.2]), np.array([0.93, 0.07]), 7.0
# What a bench jumps by: mostly little, as when a gauge is calibrated anew, and how likely that is.
_JUMPS, _JUMPS_LIKELY = (1.2, 4.0), (0.6, 0.4)
# Readings further from the middle of their bench count as so far off.
_FURTHEST, _MARGIN = 20.0, 2.5
# Leans are weighed on a grid that is finer where more units tell them. Longer tracks are cut.
_COARSE, _FINE, _LONGEST = 0.5, 1.4, 64
_CELLS = 2_000_000
_NEVER, _LEAST_SINGLE = 1e-290, 1e-38


@dataclass(frozen=True)
class Tracks:
    """Readings by bench in the order of units, the longest first, and how likely they are.

    `unit` and `clinic` are those of the readings, `first` and `length` say where a track lies among them.
    `table` holds, for each reading, the log likelihood of its whole track with a step before that reading:
    by reading, scale (SCALES) and size (SIZES). `jumped` is what jumps of the bench explain of a track, as a
    log likelihood ratio, at the likeliest scale. `table_of` says which of the tables given a track is from.
    """

    unit: Codes
    clinic: Codes
    first: Codes
    length: Codes
    table_of: Codes
    table: Floats
    jumped: Floats


@dataclass(frozen=True)
class _Readings:
    """One entry a reading, those of a track together and in order."""

    unit: Codes
    clinic: Codes
    track: Codes
    table: Codes
    value: Floats
    noise: Floats
    power: Floats
    jumps: Floats
    share: Floats
    apart: Floats


def tracks_of(
    tables: Sequence[Rows], jumps: Sequence[float], kinds: Sequence[tuple[float, float]] | None = None
) -> Tracks:
    """Weigh the tracks of several tables at once.

    Benches of a table jump from unit to unit with its `jumps`. With `kinds` a share of a table's units, in no
    order, is so many spreads apart from the others.
    """
    each = zip(tables, jumps, kinds or [(0.0, 0.0)] * len(tables), strict=True)
    of = _joined([_readings(rows, place, often, *of) for place, (rows, often, of) in enumerate(each)])
    first = np.flatnonzero(np.diff(of.track, prepend=-1))
    length = np.diff(first, append=of.track.size)
    longest = np.argsort(-length, kind="stable")
    first, length = first[longest], length[longest]
    table = np.zeros((of.unit.size, SCALES.size, SIZES.size))
    jumped = np.zeros(first.size)
    at = 0
    while at < first.size:
        upto = at + _so_many(int(length[at]))
        some = slice(at, upto)
        _weigh(of, first[some], length[some], table, jumped[some])
        at = upto
    return Tracks(of.unit, of.clinic, first, length, of.table[first], table, jumped)


def _readings(rows: Rows, table: int, jumps: float, share: float, apart: float) -> _Readings:
    order = np.lexsort((rows.unit, rows.bench))
    bench, value = rows.bench[order], rows.value[order] / rows.spread
    codes = np.unique(bench, return_inverse=True)[1]
    length = np.bincount(codes)[codes]
    rank = np.arange(bench.size) - np.searchsorted(codes, codes)
    piece = rank * -(-length // _LONGEST) // length
    # A unit that several benches read counts once: for a part at each.
    times = np.bincount(rows.unit, minlength=rows.units)
    return _Readings(
        unit=rows.unit[order],
        clinic=rows.clinic[order],
        track=np.cumsum((rank == 0) | (np.diff(piece, prepend=-1) != 0)) - 1,
        table=np.full(bench.size, table),
        value=np.clip(value - middles(value, codes)[codes], -_FURTHEST, _FURTHEST),
        noise=rows.noise[order] / rows.spread**2,
        power=1.0 / times[rows.unit[order]],
        jumps=np.full(bench.size, jumps),
        share=np.full(bench.size, share),
        apart=np.full(bench.size, apart),
    )


def _joined(parts: Sequence[_Readings]) -> _Readings:
    tracks = np.cumsum([0, *(int(part.track[-1]) + 1 if part.track.size else 0 for part in parts)])
    return _Readings(
        **{
            name: np.concatenate([getattr(part, name) for part in parts])
            for name in ("unit", "clinic", "table", "value", "noise", "power", "jumps", "share", "apart")
        },
        track=np.concatenate([part.track + before for part, before in zip(parts, tracks[:-1], strict=True)]),
    )


def _step_of(longest: int) -> float:
    return float(min(_COARSE, _FINE / longest**0.5))


def _so_many(longest: int) -> int:
    """How many tracks to weigh at once."""
    cells = 2 * (_FURTHEST + _MARGIN) / _step_of(longest) * longest * SCALES.size * _WILD.size
    return max(int(_CELLS / cells), 1)


def _weigh(of: _Readings, first: Codes, length: Codes, table: Floats, jumped: Floats) -> None:
    """Fill in `table` and `jumped` for some tracks: forwards and back over leans, as in a hidden chain."""
    ranks = np.arange(int(length[0]))
    there = ranks[:, None] < length
    index = np.where(there, first + ranks[:, None], first)
    step = _step_of(int(length[0]))
    half = int(np.ceil((np.abs(of.value[index][there]).max() + _MARGIN) / step))
    grid = np.arange(-half, half + 1).astype(float) * step
    density, power = _density(grid, of, index), of.power[index] * there
    shared = power != 1.0
    density[shared] **= power[shared][:, None, None, None]
    move = _Moves(grid, step, of.jumps[first])
    active = there.sum(axis=1)
    ahead, ahead_log = _forwards(density, active, move, step)
    shifts = np.rint(SIZES / step).astype(int)
    for rank, back, back_log in _backwards(density, active, move):
        some = active[rank]
        found = np.log(_shifted(ahead[rank, :some], back, shifts if rank else shifts[:1]))
        found += (ahead_log[rank, :some] + back_log)[..., None]
        table[first[:some] + rank] = _over_wild(found, axis=2)
    table[first, :, 1:] = table[first, :, :1]
    still = np.log(density).sum(axis=0)
    top = still.max(axis=-1)
    still = np.log(np.exp(still - top[..., None]).sum(axis=-1) * step) + top
    jumped[:] = (table[first][..., 0] - _over_wild(still, axis=2)).max(axis=-1)


class _Moves:
    """How a lean moves from unit to unit, by track: it stays, or jumps."""

    def __init__(self, grid: Floats, step: float, jumps: Floats) -> None:
        apart = grid[:, None] - grid
        self._jump = sum(
            likely * step * _normal(apart, spread**2)
            for spread, likely in zip(_JUMPS, _JUMPS_LIKELY, strict=True)
        )
        self._often = jumps[:, None, None, None]

    def after(self, lean: Floats) -> Floats:
        """Chances by track, scale, share of wild ones and lean, one unit later; or of what follows."""
        often = self._often[: lean.shape[0]]
        found: Floats = (1 - often) * lean + often * (lean @ self._jump)
        return found


def _forwards(density: Floats, active: Codes, move: _Moves, step: float) -> tuple[Floats, Floats]:
    """How likely leans are before each reading, given those before it, and the log likelihood of those."""
    ahead, logs = np.empty_like(density), np.empty(density.shape[:-1])
    lean, log = np.full(density.shape[1:], step), np.zeros(density.shape[1:-1])
    for rank, some in enumerate(active):
        ahead[rank, :some], logs[rank, :some] = lean[:some], log[:some]
        lean = lean[:some] * density[rank, :some]
        total = np.maximum(lean.sum(axis=-1), _NEVER)
        log = log[:some] + np.log(total)
        lean = move.after(lean / total[..., None])
    return ahead, logs


def _backwards(density: Floats, active: Codes, move: _Moves) -> Iterator[tuple[int, Floats, Floats]]:
    """For each reading, the last first, how likely it and those after it are, by lean: rank, share, log."""
    back, log = np.ones(density.shape[1:]), np.zeros(density.shape[1:-1])
    for rank in range(active.size - 1, -1, -1):
        some = active[rank]
        now = move.after(back[:some]) * density[rank, :some]
        top = np.maximum(now.max(axis=-1), _NEVER)
        back[:some] = now / top[..., None]
        log[:some] += np.log(top)
        yield rank, back[:some], log[:some]


def _shifted(ahead: Floats, back: Floats, shifts: Codes) -> Floats:
    """Sum over leans of what comes before, and what comes after shifted: a last axis over shifts."""
    pad, grid = int(np.abs(shifts).max()), ahead.shape[-1]
    # Single precision: what is 1e-38 times as likely does not matter, and half the memory goes through.
    wide = np.zeros((*back.shape[:-1], grid + 2 * pad), np.float32)
    wide[..., pad : pad + grid] = back
    windows = np.lib.stride_tricks.sliding_window_view(wide, grid, axis=-1)[..., pad + shifts, :]
    summed = (windows @ ahead[..., None].astype(np.float32))[..., 0]
    found: Floats = np.maximum(summed, _LEAST_SINGLE).astype(float)
    return found


def _over_wild(logs: Floats, axis: int) -> Floats:
    few, many = (np.take(logs, place, axis) + np.log(_WILD_LIKELY[place]) for place in (0, 1))
    found: Floats = np.logaddexp(few, many)
    return found


def _density(grid: Floats, of: _Readings, index: Codes) -> Floats:
    """Densities by rank, track, scale, share of wild units and lean."""
    found = _of_kind(grid, of.value[index], of.noise[index])
    share = of.share[index][..., None, None, None]
    if share.any():
        found = (1 - share) * found + share * _of_kind(
            grid, of.value[index] - of.apart[index], of.noise[index]
        )
    return found


def _of_kind(grid: Floats, value: Floats, noise: Floats) -> Floats:
    apart = value[..., None, None] - grid
    core = _normal(apart, SCALES[:, None] ** 2 + noise[..., None, None])[..., None, :]
    wide = _normal(apart, _WILD_SPREAD**2)[..., None, :]
    found: Floats = (1 - _WILD[:, None]) * core + _WILD[:, None] * wide
    return found


def _normal(apart: Floats, variance: Floats | float) -> Floats:
    return np.asarray(np.exp(-0.5 * apart**2 / variance) / np.sqrt(2 * np.pi * variance))
