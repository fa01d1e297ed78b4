"""Communities of clinics with known truth: what their benches would read of builds that are known.

A `Plan` says which unit was run where, in which cell (a build, or a base with a part), and how often; `read`
draws what the benches read of it. All spreads are standard deviations.
"""

from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from registry.statistics.crossed import Readings
from registry.statistics.nested import Cells

Floats = NDArray[np.float64]
Codes = NDArray[np.intp]
RATE, VACUUM, MEAN = "cycle_rate", "peak_vacuum", "mean_vacuum"
METRICS = (RATE, VACUUM)


@dataclass(frozen=True)
class Spreads:
    """How units, runs and gauges scatter. Gauges bear on vacuums alone; a rate is a matter of the clock.

    `wild` is the share of units that are off: by `wild_by` (from, to) times the spread between units, up or
    down, at all settings. `wild_clinic` is the probability that one clinic's gauge has a gain 8 to 25 % off.
    `alike` is the correlation of a unit's effects over settings, `bound` that of each metric with the one
    before it. Over the spread between units, `swapped` is what a unit changes by from cell to cell beyond
    what all do, and `last` what units of the last cell scatter by. `declared` is what gauges declare of
    themselves over what they truly scatter by, `own` what a run declares of itself over repeatability. The
    first clinic's gauge scatters by `finest` times what others do, and declares so; it is `off` either way.
    """

    rate_between: float = 0.02
    vacuum_between: float = 5.0
    rate_repeat: float = 0.007
    vacuum_repeat: float = 2.0
    gain: float = 0.015
    zero: float = 2.0
    clock: float = 1e-4
    wild: float = 0.0
    wild_by: tuple[float, float] = (5.0, 20.0)
    wild_clinic: float = 0.0
    alike: float = 0.7
    bound: float = 0.0
    swapped: float = 0.0
    last: float = 1.0
    declared: float = 1.0
    own: float = 0.5
    finest: float = 1.0
    off: float = 0.0

    def between(self, metric: str, centre: Floats) -> Floats:
        """Spread between units where the build's centre is `centre`."""
        return self.rate_between * centre if metric == RATE else np.full_like(centre, self.vacuum_between)

    def repeat(self, metric: str, centre: Floats) -> Floats:
        """Spread between runs of one unit at one clinic."""
        return self.rate_repeat * centre if metric == RATE else np.full_like(centre, self.vacuum_repeat)

    def beside(self, before: Floats | None, own: Floats) -> Floats:
        """Effects of units in a metric, given those in the one before it and draws of their own."""
        return own if before is None else self.bound * before + (1 - self.bound**2) ** 0.5 * own

    def gauge(self, metric: str, centre: Floats) -> Floats:
        """Spread between clinics, by their gauges alone."""
        return self.clock * centre if metric == RATE else np.hypot(self.gain * centre, self.zero)

    def stated(self, metric: str, centre: Floats, clinic: Codes) -> Floats:
        """What gauges declare, a row a row of `centre`, whose clinics are given."""
        share = np.where(clinic == 0, self.finest, 1.0) * self.declared
        return share[:, None] * self.gauge(metric, centre)


@dataclass(frozen=True)
class Plan:
    """One row a unit at a clinic in a cell: codes from 0 up, and the number of runs at every setting."""

    unit: Codes
    clinic: Codes
    cell: Codes
    runs: Codes


@dataclass(frozen=True)
class Shape:
    """How large and how uneven communities are. Ends of a range are both drawn, all alike often.

    `both` is the share of clinics that run every cell, the others run one; `travelling` units of each cell
    are besides sent round all clinics that run it.
    """

    clinics: tuple[int, int] = (3, 12)
    units: tuple[int, int] = (1, 8)
    runs: tuple[int, int] = (1, 6)
    both: float = 0.5
    travelling: int = 0


@dataclass(frozen=True)
class Community:
    """What the benches read: `frame` has one row a cell, setting, metric, unit and clinic.

    Columns as of a table of unit summaries merged by unit and clinic: cell, setting, metric, unit, clinic,
    runs, mean, squares, freedom, random, systematic. `truth[metric]` holds the true centres, a row a cell and
    a column a setting; `wild` the units that are off; `gain` and `zero` are those of each clinic's gauge.
    """

    frame: pd.DataFrame
    truth: dict[str, Floats]
    spreads: Spreads
    gain: Floats
    zero: Floats
    wild: frozenset[int] = field(default_factory=frozenset)

    def cells(self, cell: int, setting: int, metric: str) -> Cells:
        """The table of one cell at one setting, as the statistics take it."""
        frame = self.frame
        chosen = (frame["cell"] == cell) & (frame["setting"] == setting) & (frame["metric"] == metric)
        return table(frame[chosen])

    def aheads(self, rng: np.random.Generator, cell: int, setting: int, times: int) -> dict[str, Floats]:
        """One run of each of so many next units, sound ones, each at a next clinic, by metric."""
        of, found, own = self.spreads, {}, None
        gain, zero, clock = (rng.normal(*by, times) for by in ((1, of.gain), (0, of.zero), (1, of.clock)))
        for metric, centres in self.truth.items():
            centre = centres[cell, setting : setting + 1]
            own = of.beside(own, rng.normal(size=times))
            value = centre + of.between(metric, centre) * own
            value = clock * value if metric == RATE else gain * value + zero
            found[metric] = value + of.repeat(metric, centre) * rng.normal(size=times)
        return found


def nested_plan(rng: np.random.Generator, shape: Shape, cells: int = 1) -> Plan:
    """Draw who ran what: clinics with units of their own for each cell they run, however uneven.

    Every cell is run by at least one clinic.
    """
    clinics = int(rng.integers(*shape.clinics, endpoint=True))
    runs_all = rng.random(clinics) < shape.both
    alone = rng.permutation(np.arange(clinics) % cells)
    rows: list[tuple[int, int, int]] = []
    unit = 0
    for cell in range(cells):
        at = np.flatnonzero(runs_all | (alone == cell))
        for clinic in at:
            of_it = int(rng.integers(*shape.units, endpoint=True))
            rows += [(unit + k, int(clinic), cell) for k in range(of_it)]
            unit += of_it
        rows += [(unit + k, int(clinic), cell) for k in range(shape.travelling) for clinic in at]
        unit += shape.travelling
    return _planned(rng, rows, shape)


def few_plan(rng: np.random.Generator, shape: Shape) -> Plan:
    """Three to six clinics with two to four old units each; one or two have two or three new ones in all."""
    clinics = int(rng.integers(3, 7))
    old = [clinic for clinic in range(clinics) for _ in range(int(rng.integers(2, 5)))]
    at = rng.permutation(clinics)[: int(rng.integers(1, 3))]
    new = [int(at[k % at.size]) for k in range(int(rng.integers(2, 4)))]
    rows = [(unit, clinic, int(unit >= len(old))) for unit, clinic in enumerate([*old, *new])]
    return _planned(rng, rows, shape)


def fixed_plan(clinics: int, units: int, runs: int, cells: int = 1) -> Plan:
    """Every clinic runs `units` units of its own in each cell, `runs` times each."""
    rows = [(c, clinic) for c in range(cells) for clinic in range(clinics) for _ in range(units)]
    cell, clinic = np.array(rows, np.intp).T
    return Plan(np.arange(len(rows)), clinic, cell, np.full(len(rows), runs))


def swap_plan(rng: np.random.Generator, shape: Shape) -> Plan:
    """Units of two bases, each run with two parts: cells 0 and 1 are the first base, 2 and 3 the second.

    Each clinic has units of one base or of both (`shape.both`), and runs each of them with both parts.
    """
    bases = nested_plan(rng, shape, cells=2)
    rows = [
        (int(unit), int(clinic), 2 * int(base) + part)
        for unit, clinic, base in zip(bases.unit, bases.clinic, bases.cell, strict=True)
        for part in (0, 1)
    ]
    return _planned(rng, rows, shape)


def _planned(rng: np.random.Generator, rows: list[tuple[int, int, int]], shape: Shape) -> Plan:
    unit, clinic, cell = np.array(rows, np.intp).T
    return Plan(unit, clinic, cell, rng.integers(*shape.runs, endpoint=True, size=len(rows)))


def read(
    rng: np.random.Generator,
    plan: Plan,
    *,
    rate: Floats,
    vacuum: Floats,
    mean: Floats | None = None,
    spreads: Spreads | None = None,
) -> Community:
    """Draw what the benches read, given true centres of metrics: a row a cell and a column a setting.

    A gauge's gain and zero are one clinic's at everything it reads; a unit's effect is its own wherever it is
    run, and with whatever part but for what parts do to each unit (`swapped`: a draw a row of the plan).
    """
    of = spreads or Spreads()
    centres = {RATE: rate, VACUUM: vacuum} | ({} if mean is None else {MEAN: mean})
    truth = {metric: np.asarray(centre, float) for metric, centre in centres.items()}
    units, clinics, settings = plan.unit.max() + 1, plan.clinic.max() + 1, truth[RATE].shape[1]
    off = rng.random(units) < of.wild
    beyond = off * rng.choice([-1.0, 1.0], units) * rng.uniform(*of.wild_by, units)
    gain, zero = rng.normal(1, of.gain, clinics), rng.normal(0, of.zero, clinics)
    clock = rng.normal(1, of.clock, clinics)
    for scale, true in ((gain, 1.0), (zero, 0.0), (clock, 1.0)):
        scale[0] = true + of.finest * (scale[0] - true)
    if of.off:
        gain[0] += rng.choice([-1.0, 1.0]) * of.off
    if of.wild_clinic and rng.random() < of.wild_clinic:
        gain[rng.integers(clinics)] += rng.choice([-1.0, 1.0]) * rng.uniform(0.08, 0.25)
    frames, effect = [], None
    for metric in truth:
        centre = truth[metric][plan.cell]
        common = rng.normal(size=(units, 1)) * of.alike**0.5
        effect = of.beside(effect, common + rng.normal(size=(units, settings)) * (1 - of.alike) ** 0.5)
        own = (effect + beyond[:, None])[plan.unit]
        if of.swapped:
            own = own + of.swapped * rng.normal(size=centre.shape)
        own = np.where((plan.cell == plan.cell.max())[:, None], of.last, 1.0) * own
        value = centre + of.between(metric, centre) * own
        scale = clock if metric == RATE else gain
        value = scale[plan.clinic, None] * value + (0 if metric == RATE else zero[plan.clinic, None])
        frames.append(_frame(rng, plan, metric, centre, value, of))
    # However metrics are bound, what is off is off in all of them.
    return Community(
        frame=pd.concat(frames, ignore_index=True),
        truth=truth,
        spreads=of,
        gain=gain,
        zero=zero,
        wild=frozenset(np.flatnonzero(off).tolist()),
    )


def _frame(
    rng: np.random.Generator, plan: Plan, metric: str, centre: Floats, value: Floats, of: Spreads
) -> pd.DataFrame:
    """Runs about `value`, boiled down to one row a setting of each row of the plan."""
    rows, settings = value.shape
    runs = np.repeat(plan.runs, settings)
    repeat = of.repeat(metric, centre).ravel()
    mean = value.ravel() + rng.normal(size=rows * settings) * repeat / np.sqrt(runs)
    freedom = runs - 1
    squares = np.where(freedom > 0, rng.chisquare(np.maximum(freedom, 1)), 0.0) * repeat**2
    return pd.DataFrame(
        {
            "cell": np.repeat(plan.cell, settings),
            "setting": np.tile(np.arange(settings), rows),
            "metric": metric,
            "unit": np.repeat(plan.unit, settings),
            "clinic": np.repeat(plan.clinic, settings),
            "runs": runs,
            "mean": mean,
            "squares": squares,
            "freedom": freedom,
            "random": of.own * repeat,
            "systematic": of.stated(metric, centre, plan.clinic).ravel(),
        }
    )


def table(rows: pd.DataFrame) -> Cells:
    """Rows of one cell, setting and metric, as the statistics take them."""
    runs = rows["runs"].to_numpy(float)
    return Cells(
        unit=pd.factorize(rows["unit"])[0],
        clinic=pd.factorize(rows["clinic"])[0],
        mean=rows["mean"].to_numpy(float),
        runs=runs,
        systematic=rows["systematic"].to_numpy(float),
        random=float(((rows["random"].to_numpy(float) ** 2 * runs).sum() / runs.sum()) ** 0.5),
        squares=float(rows["squares"].sum()),
        freedom=int(rows["freedom"].sum()),
    )


def readings(rows: pd.DataFrame) -> Readings:
    """Rows of one setting and metric over all cells, as comparisons take them; every clinic has one gauge."""
    runs = rows["runs"].to_numpy(float)
    return Readings(
        cell=rows["cell"].to_numpy(np.intp),
        unit=pd.factorize(rows["unit"])[0],
        group=pd.factorize(rows["clinic"])[0],
        mean=rows["mean"].to_numpy(float),
        runs=runs,
        systematic=rows["systematic"].to_numpy(float),
        random=float(((rows["random"].to_numpy(float) ** 2 * runs).sum() / runs.sum()) ** 0.5),
        squares=float(rows["squares"].sum()),
        freedom=int(rows["freedom"].sum()),
    )
