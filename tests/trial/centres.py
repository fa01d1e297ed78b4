"""How often the intervals of a distribution hold the truth, beside the plain mean over runs."""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np

from registry.statistics.domains import domain_of
from registry.statistics.nested import Cells
from registry.statistics.precision import Interval, summarise
from registry.statistics.robust import algorithm_a
from tests.trial.communities import METRICS, VACUUM, Community, Plan, Shape, Spreads, nested_plan, read
from tests.trial.report import Check, Section, percent

_ALL = "3-12"
_AHEAD = 20
_ONE = Shape(both=1.0)
# A gauge that declares some 0.04 % beside others that declare some 2 %.
_FINEST = Spreads(finest=0.02)


@dataclass(frozen=True)
class Kind:
    """A kind of community. `promised` kinds are held to 93 % and `most`; the others show where promises end.

    In those with one clinic far off (`robust`) the centre is held to lie no further from the truth than
    Algorithm A over the clinics' means.
    """

    spreads: Spreads
    shape: Shape = _ONE
    promised: bool = True
    most: float = 0.97
    robust: bool = False


KINDS: Mapping[str, Kind] = MappingProxyType(
    {
        "sound": Kind(Spreads()),
        "5 % wild units": Kind(Spreads(wild=0.05)),
        "2 units sent round": Kind(Spreads(), replace(_ONE, travelling=2)),
        "5 % units off by 3 to 6": Kind(Spreads(wild=0.05, wild_by=(3.0, 6.0)), promised=False),
        "one wild clinic": Kind(Spreads(wild_clinic=1.0), promised=False, robust=True),
        "gauges declare half": Kind(Spreads(declared=0.5), promised=False),
        "gauges declare double": Kind(Spreads(declared=2.0), promised=False),
        # A word that nobody bears out counts by half, so its intervals are wider than it would take.
        "one finest gauge": Kind(_FINEST, most=0.99),
        "the finest is off by 4 %": Kind(replace(_FINEST, off=0.04), promised=False),
        "the finest is off by 8 %": Kind(replace(_FINEST, off=0.08), promised=False, robust=True),
        "the finest is off by 15 %": Kind(replace(_FINEST, off=0.15), promised=False, robust=True),
    }
)


@dataclass
class Tally:
    """Sums over communities: how many, how often each interval held, and squared errors over the truth."""

    communities: int = 0
    centre: int = 0
    plain: int = 0
    ahead: float = 0.0
    width: float = 0.0
    error: float = 0.0
    algorithm_a: float = 0.0

    def share(self, what: str) -> float:
        """One of the sums as a mean a community."""
        return float(getattr(self, what)) / self.communities

    def root(self, what: str) -> float:
        """The root of one of the sums as a mean a community."""
        return float(self.share(what) ** 0.5)


def tally(kind: Kind, communities: int, seed: int) -> dict[tuple[str, str], Tally]:
    """Draw communities of a kind and count, by metric and number of clinics."""
    rng = np.random.default_rng(seed)
    found: dict[tuple[str, str], Tally] = defaultdict(Tally)
    for _ in range(communities):
        plan = nested_plan(rng, kind.shape)
        rate, vacuum = rng.uniform(45, 110, (1, 1)), rng.uniform(100, 280, (1, 1))
        community = read(rng, plan, rate=rate, vacuum=vacuum, spreads=kind.spreads)
        for metric in METRICS:
            _count(rng, community, metric, [found[metric, of] for of in (_stratum(plan), _ALL)])
    return found


def _count(rng: np.random.Generator, community: Community, metric: str, tallies: list[Tally]) -> None:
    cells = community.cells(0, 0, metric)
    figures = summarise(cells, domain_of(metric))
    truth = float(community.truth[metric][0, 0])
    ahead = community.aheads(rng, 0, 0, _AHEAD)[metric]
    low, high = _ends(figures.interval)
    for one in tallies:
        one.communities += 1
        one.centre += low <= truth <= high
        one.plain += _plain_holds(cells, truth)
        one.ahead += float(np.mean([_holds(figures.next_unit, value) for value in ahead]))
        one.width += high - low
        one.error += (figures.centre / truth - 1) ** 2
        one.algorithm_a += (_robust_mean(cells) / truth - 1) ** 2


def _robust_mean(cells: Cells) -> float:
    """Algorithm A over the means of clinics, each unit counting once."""
    means = np.bincount(cells.clinic, cells.mean) / np.bincount(cells.clinic)
    return algorithm_a(means)[0] if means.size > 1 else float(means[0])


def _plain_holds(cells: Cells, truth: float) -> bool:
    """Whether mean over runs plus or minus 1.96 standard errors of runs holds the truth."""
    runs = cells.runs.sum()
    mean = float(cells.runs @ cells.mean / runs)
    squares = cells.squares + float(cells.runs @ (cells.mean - mean) ** 2)
    return abs(mean - truth) <= 1.96 * (squares / (runs - 1) / runs) ** 0.5


def _holds(interval: Interval, value: float) -> bool:
    """An interval that is not given, because the counts do not carry it, holds nothing."""
    low, high = _ends(interval)
    return low <= value <= high


def _ends(interval: Interval) -> tuple[float, float]:
    return (
        np.inf if interval.low is None else interval.low,
        -np.inf if interval.high is None else interval.high,
    )


def _stratum(plan: Plan) -> str:
    clinics = int(plan.clinic.max()) + 1
    return next((name for most, name in ((4, "3-4"), (8, "5-8")) if clinics <= most), "9-12")


def section(communities: int, seed: int = 1) -> Section:
    """The table of all kinds, and the promises."""
    rows, checks = [], []
    for place, (name, kind) in enumerate(KINDS.items()):
        found = tally(kind, communities, seed + place)
        for metric in METRICS:
            rows += [_row(name, metric, part, found[metric, part]) for part in ("3-4", "5-8", "9-12", _ALL)]
            if kind.promised:
                whole = found[metric, _ALL]
                checks += [
                    Check(f"{name}, {metric}, centre", whole.share("centre"), 0.93, kind.most),
                    Check(f"{name}, {metric}, next unit", whole.share("ahead"), 0.93, kind.most),
                ]
        if kind.robust:
            whole = found[VACUUM, _ALL]
            ratio = whole.root("error") / whole.root("algorithm_a")
            checks.append(Check(f"{name}, {VACUUM}, error over Algorithm A's", ratio))
    return Section(
        title="Distributions: how often nominal 95 % intervals hold the truth",
        columns=(
            *("communities", "metric", "clinics", "number", "centre", "width", "next unit", "plain mean"),
            *("error", "Algorithm A"),
        ),
        rows=rows,
        checks=checks,
        notes=(
            "plain mean: mean over runs, 1.96 standard errors of runs. next unit: one run of a sound unit.",
            "width: mean width of the centre's interval, cycles/min or mmHg.",
            "error: root mean square error of the centre; Algorithm A: of that over the means of clinics.",
        ),
    )


def _row(kind: str, metric: str, stratum: str, of: Tally) -> tuple[str, ...]:
    shares = [percent(of.share(what)) for what in ("ahead", "plain")]
    errors = [f"{100 * of.root(what):.2f} %" for what in ("error", "algorithm_a")]
    return (
        kind,
        metric,
        stratum,
        str(of.communities),
        percent(of.share("centre")),
        f"{of.share('width'):.2f}",
        *shares,
        *errors,
    )
