"""What one setting of one build does, over runs in units in clinics: centre, spread, and what comes next.

A mean over runs is never the answer, since runs nest in units and units are measured in clinics. Wild units
and clinics are reined in first (`nested.tamed`), the spread is split (`components`), and the centre is the
generalised least squares mean under that split, in which no clinic counts for more than others bear out
(`weighing`).
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy import special

from registry.statistics.components import Components, all_components
from registry.statistics.domains import ANYWHERE, Domain, counted_behind, share_limits
from registry.statistics.histogram import Histogram, histogram
from registry.statistics.influence import Influence, influences
from registry.statistics.nested import Cells, stacked, tamed_means
from registry.statistics.robust import Floats, between_ranks
from registry.statistics.stacks import Stack, alike
from registry.statistics.weighing import borne_out, carries, weigh

COVERAGE = 0.95
ENOUGH_UNITS, ENOUGH_CLINICS = 3, 2
QUANTILES = (0.1, 0.25, 0.5, 0.75, 0.9)
ESTIMATOR = (
    "s_repeatability: pooled within unit and clinic (ISO 5725-2). s_unit and s_clinic: Henderson's method 1 "
    "on means of units at clinics, none below nought, after wild units and clinics are reined in (Hampel's "
    "three parts). s_reproducibility: root of repeatability plus clinic variance. centre: generalised least "
    "squares; clinics beyond 1.5 robust scales of it count for less (Huber). low to high and predict_low to "
    "predict_high: 95 % by Student's t with Satterthwaite's degrees of freedom; clinics never count for less "
    "than their gauges' declared systematic uncertainty, nor for less than half the middling variance."
)
_CERTAIN = 1e6
_TINY = 1e-300
Variances = tuple[float, float, float]


@dataclass(frozen=True)
class Interval:
    """Both ends; None where the counts do not carry one, or nothing says how sure the values are."""

    low: float | None
    high: float | None


@dataclass(frozen=True)
class Precision:
    """The figures of one cell. Standard deviations and ends are None where the counts do not carry them.

    `repeat`, `unit`, `clinic` and `reproducibility` are standard deviations: of runs of one unit in one
    clinic, between units, between clinics, and of runs of one unit between clinics (ISO 5725); `between` is
    that of units and clinics together, which is known even where the two cannot be told apart. `next_unit`
    holds one run of the next unit at the next clinic at 95 %. Quantiles and histogram are of unit means as
    they were read; `reined_units` are the codes of units that were reined in. `missing` says in words what a
    thin cell lacks. `carried` tells that the centre rests on one clinic or two (`weighing.carries`).
    """

    runs: int
    units: int
    clinics: int
    centre: float
    interval: Interval
    repeat: float | None
    unit: float | None
    clinic: float | None
    reproducibility: float | None
    between: float | None
    next_unit: Interval
    quantiles: dict[float, float | None]
    histogram: Histogram
    influence: tuple[Influence, ...]
    missing: tuple[str, ...]
    reined_units: tuple[int, ...]
    carried: bool

    @property
    def reined(self) -> int:
        """How many units were reined in."""
        return len(self.reined_units)

    @property
    def state(self) -> str:
        """`ok`, or `thin` below three units from two clinics."""
        return "thin" if self.missing else "ok"


@dataclass(frozen=True)
class _Spread:
    """Variances at work in the interval, with the degrees of freedom each is known to.

    `seen` is the share of the clinics' variance that is estimated; the rest is declared and taken as certain.
    """

    unit: float
    clinic: Floats
    seen: float
    run: float
    unit_freedom: float
    clinic_freedom: float
    noise_freedom: float


def summarise(cells: Cells, domain: Domain = ANYWHERE) -> Precision:
    """Work out the figures of one cell from its units at clinics. Needs at least one row.

    No interval leaves the metric's `domain`; that of a share is never narrower than its counts allow. Runs
    count for no less than the uncertainty they declare of themselves, however well they agree.

    The centre's interval is by Student's t with Satterthwaite's degrees of freedom over the components
    (GUM G.4). The clinic component never counts for less than the gauges' declared systematic uncertainty:
    what all gauges of a kind share shows in no spread between them, and is not averaged away. Up to what is
    declared it counts as known; only what clinics are seen to differ beyond it has degrees of freedom.
    """
    return summarise_all([(cells, domain)])[0]


def summarise_all(tables: Sequence[tuple[Cells, Domain]], *, with_influence: bool = True) -> list[Precision]:
    """Work out many cells as `summarise` does one, those of one design at once.

    Without influence that part of each is left empty, which spares about a tenth of the time.
    """
    found: dict[int, Precision] = {}
    for places in alike([(cells.unit, cells.clinic) for cells, _ in tables]):
        worked = _alike([tables[place] for place in places], with_influence=with_influence)
        found.update(zip(places, worked, strict=True))
    return [found[place] for place in range(len(tables))]


def _alike(tables: Sequence[tuple[Cells, Domain]], *, with_influence: bool) -> Iterator[Precision]:
    """The figures of cells of one design."""
    raw = stacked([cells for cells, _ in tables])
    stack = raw.with_means(tamed_means(raw))
    kept = [replace(cells, mean=mean) for (cells, _), mean in zip(tables, stack.mean, strict=True)]
    parts = all_components(kept, stack)
    gauges = stack.by_clinic(stack.systematic**2) / stack.by_clinic.size
    borne = borne_out(gauges)
    spreads = [_spread(*each) for each in zip(kept, parts, gauges, borne, strict=True)]
    unit, clinic = np.array([each.unit for each in spreads]), np.array([each.clinic for each in spreads])
    weights = weigh(stack, unit, clinic, borne)
    centres = np.sum(weights * stack.mean, axis=1)
    variances = _parts_of_variance(stack, unit, clinic, weights)
    # Units reined in to within a hair are not worth telling.
    moved = np.abs(stack.mean - raw.mean) > 1e-9 * np.abs(raw.mean)
    for place, (cells, domain) in enumerate(tables):
        weighed = _Weighed(
            kept[place], spreads[place], float(centres[place]), weights[place], variances[place]
        )
        reined = tuple(np.unique(cells.unit[moved[place]]).tolist())
        yield _precision(cells, domain, parts[place], weighed, reined, with_influence=with_influence)


@dataclass(frozen=True)
class _Weighed:
    """A table after it was tamed, the spread it was weighed by, its mean and the weight of each row in it.

    `parts` is what clinic, unit and noise each put into the variance of that mean.
    """

    kept: Cells
    spread: _Spread
    mean: float
    weights: Floats
    parts: Variances


def _precision(
    cells: Cells,
    domain: Domain,
    parts: Components,
    weighed: _Weighed,
    reined: tuple[int, ...],
    *,
    with_influence: bool,
) -> Precision:
    kept, weights = weighed.kept, weighed.weights
    centre = min(max(weighed.mean, domain.low), domain.high)  # rounding alone can take it out
    missing = _missing(cells)
    unit_means = cells.unit_means
    return Precision(
        runs=int(cells.runs.sum()),
        units=cells.units,
        clinics=cells.clinics,
        centre=centre,
        interval=_within(_counted(kept, domain, _interval(weighed, centre), centre), domain),
        repeat=_root(parts.repeat),
        unit=_root(parts.unit),
        clinic=_root(parts.clinic),
        reproducibility=_root(parts.reproducibility),
        between=_root(parts.between),
        next_unit=Interval(None, None) if missing else _within(_next_unit(weighed, centre), domain),
        quantiles=_quantiles(unit_means),
        histogram=histogram(unit_means),
        influence=influences(cells, kept, weights, centre) if with_influence else (),
        missing=missing,
        reined_units=reined,
        carried=carries(cells.clinic, weights),
    )


def _spread(cells: Cells, parts: Components, gauges: Floats, borne: Floats) -> _Spread:
    """`gauges` is the mean square of the systematic uncertainty of each clinic's readings, `borne` that as
    far as other clinics bear it out."""
    repeat = cells.repeat_variance
    # Where unit and clinic cannot be told apart all of it counts as the clinic's, the wider reading, and a
    # gauge's uncertainty says nothing about it.
    confounded = parts.unit is None and parts.clinic is None
    clinic = (parts.between if confounded else parts.clinic) or 0.0
    known = 0.0 if confounded else min(float(gauges.mean()), clinic)
    counted = np.maximum(borne, clinic)
    freedom_of_units = max(min(cells.units - 1, cells.mean.size - cells.clinics), 1)
    declared = repeat is None or repeat <= cells.random**2
    return _Spread(
        unit=parts.unit or 0.0,
        clinic=counted,
        seen=(clinic - known) / max(float(counted.mean()), _TINY),
        run=max(cells.random**2, repeat or 0.0),
        unit_freedom=float(freedom_of_units),
        clinic_freedom=float(max(cells.clinics - 1, 1)),
        noise_freedom=_CERTAIN if declared else float(cells.freedom),
    )


def _parts_of_variance(stack: Stack, unit: Floats, clinic: Floats, weights: Floats) -> list[Variances]:
    """What clinic, unit and noise each put into the variance of the weighted mean of each table."""
    of_clinic = np.sum(clinic * stack.by_clinic(weights) ** 2, axis=1)
    of_unit = unit * np.sum(stack.by_unit(weights) ** 2, axis=1)
    noise = np.sum(stack.doubt * weights**2, axis=1)
    return list(zip(of_clinic.tolist(), of_unit.tolist(), noise.tolist(), strict=True))


def _interval(weighed: _Weighed, centre: float) -> Interval:
    if weighed.kept.units < 2 and weighed.kept.clinics < 2:
        return Interval(None, None)
    return _around(centre, weighed.parts, weighed.spread)


def _next_unit(weighed: _Weighed, centre: float) -> Interval:
    (clinic, unit, noise), spread = weighed.parts, weighed.spread
    ahead = (clinic + float(np.mean(spread.clinic)), unit + spread.unit, noise + spread.run)
    return _around(centre, ahead, spread)


def _around(centre: float, parts: Variances, spread: _Spread) -> Interval:
    clinic, unit, noise = parts
    variance = sum(parts)
    if variance <= 0:
        return Interval(None, None)
    estimated = (
        (spread.seen * clinic, spread.clinic_freedom),
        (unit, spread.unit_freedom),
        (noise, spread.noise_freedom),
    )
    doubt = sum(part**2 / freedom for part, freedom in estimated)
    effective = min(variance**2 / doubt, _CERTAIN) if doubt > 0 else _CERTAIN
    half = float(special.stdtrit(effective, (1 + COVERAGE) / 2)) * variance**0.5
    return Interval(centre - half, centre + half)


def _counted(cells: Cells, domain: Domain, interval: Interval, centre: float) -> Interval:
    """The interval of a share, widened to what as many counted allow, as far as their number shows."""
    if not domain.share or interval.low is None or interval.high is None:
        return interval
    share = min(max(centre / domain.high, 0.0), 1.0)
    counted = float(cells.runs.sum()) * counted_behind(share, cells.random / domain.high)
    if not np.isfinite(counted):
        return interval
    low, high = share_limits(share * counted, counted)
    return Interval(min(interval.low, low * domain.high), max(interval.high, high * domain.high))


def _within(interval: Interval, domain: Domain) -> Interval:
    if interval.low is None or interval.high is None:
        return interval
    return Interval(max(interval.low, domain.low), min(interval.high, domain.high))


def _quantiles(unit_means: Floats) -> dict[float, float | None]:
    """Median-unbiased quantiles of unit means; None where one would lie outside what was measured."""
    size, ranked = unit_means.size, np.sort(unit_means)
    found: dict[float, float | None] = {}
    for p in QUANTILES:
        rank = p * (size + 1 / 3) + 1 / 3
        inside = size >= ENOUGH_UNITS and 1 <= rank <= size
        found[p] = between_ranks(ranked, rank - 1) if inside else None
    return found


def _missing(cells: Cells) -> tuple[str, ...]:
    wanted = ((ENOUGH_UNITS - cells.units, "unit"), (ENOUGH_CLINICS - cells.clinics, "clinic"))
    return tuple(f"{lack} more {what}{'s' if lack > 1 else ''}" for lack, what in wanted if lack > 0)


def _root(variance: float | None) -> float | None:
    return None if variance is None else float(variance**0.5)
