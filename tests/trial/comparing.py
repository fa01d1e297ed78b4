"""How often comparisons and part swaps are right on communities of known truth."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np

from registry.statistics.differences import fit
from registry.statistics.equivalence import DIFFERENT, SAME, Judged, Margin, Verdict, judge_pair, overall
from registry.statistics.swap import split
from tests.trial.communities import (
    METRICS,
    RATE,
    VACUUM,
    Community,
    Plan,
    Shape,
    Spreads,
    few_plan,
    fixed_plan,
    nested_plan,
    read,
    readings,
    swap_plan,
)
from tests.trial.report import Check, Section, percent

MARGINS: Mapping[str, Margin] = MappingProxyType({RATE: Margin(0.05, relative=True), VACUUM: Margin(10.0)})
SETTINGS = 5
_SHARES = ("total", "part", "base", "interaction")


@dataclass(frozen=True)
class Kind:
    """Communities of one kind, held to differences of `held` by the intervals that are to be of 95 %.

    `few` builds have two or three new units against many old ones. Nothing is promised of what is `beyond`
    what builds do; it is shown all the same.
    """

    spreads: Spreads
    shape: Shape = field(default_factory=Shape)
    held: tuple[float, float] | None = (0.93, 0.97)
    few: bool = False
    beyond: bool = False

    def plan(self, rng: np.random.Generator) -> Plan:
        """Who ran what of two builds."""
        return few_plan(rng, self.shape) if self.few else nested_plan(rng, self.shape, cells=2)


KINDS: Mapping[str, Kind] = MappingProxyType(
    {
        "sound": Kind(Spreads()),
        "5 % wild units": Kind(Spreads(wild=0.05)),
        "2 units sent round": Kind(Spreads(), Shape(travelling=2)),
        "no clinic has both": Kind(Spreads(), Shape(both=0.0), held=None),
        "new units scatter twice": Kind(Spreads(last=2.0)),
        # Two or three units say so little of their own scatter that intervals hold more than they have to.
        "2-3 new units": Kind(Spreads(), held=(0.93, 1.0), few=True),
        "2-3 new units scatter four times": Kind(Spreads(last=4.0), few=True, beyond=True),
        "gauges twice as far off as declared": Kind(Spreads(declared=0.5)),
    }
)


def judged(community: Community) -> Iterator[tuple[str, int, Judged]]:
    """Both builds of a community held against each other at every setting, as an answer does it."""
    frame = community.frame
    fits = {
        key: fitted
        for key, rows in frame.groupby(["metric", "setting"])
        if (fitted := fit(readings(rows))) is not None
    }
    for (metric, setting), fitted in fits.items():
        yield metric, setting, judge_pair(fitted, MARGINS[metric], len(fits))


def draw(
    rng: np.random.Generator, plan: Plan, spreads: Spreads, *, rate: float = 1.0, vacuum: float = 0.0
) -> Community:
    """Two builds at five settings; the new one's rates are `rate` times, its vacuums `vacuum` off the old."""
    rates, vacuums = np.sort(rng.uniform(45, 110, SETTINGS)), np.sort(rng.uniform(100, 280, SETTINGS))
    return read(
        rng,
        plan,
        rate=np.stack([rates, rates * rate]),
        vacuum=np.stack([vacuums, vacuums + vacuum]),
        spreads=spreads,
    )


@dataclass
class Verdicts:
    """Communities, how many were called what over all settings, and what single intervals held."""

    communities: int = 0
    different: int = 0
    same: int = 0
    any_same: int = 0
    values: int = 0
    held: dict[str, list[bool]] = field(default_factory=lambda: {metric: [] for metric in METRICS})

    def add(self, community: Community) -> None:
        """Count one community."""
        verdicts: list[Verdict] = []
        for metric, setting, found in judged(community):
            truth = float(np.diff(community.truth[metric][:, setting])[0])
            low, high = found.difference.interval()
            self.held[metric].append(low <= truth <= high)
            verdicts.append(found.verdict)
        self.communities += 1
        self.values += len(verdicts)
        self.any_same += SAME in verdicts
        verdict = overall(verdicts)
        self.different += verdict == DIFFERENT
        self.same += verdict == SAME

    def share(self, what: str) -> float:
        """A count as a share of communities."""
        return float(getattr(self, what)) / self.communities

    def coverage(self, metric: str) -> float:
        """How often an interval of one difference by itself, at 95 %, held the truth."""
        return float(np.mean(self.held[metric]))


def compared(
    kind: Kind,
    communities: int,
    seed: int,
    *,
    plan: Plan | None = None,
    rate: float = 1.0,
    vacuum: float = 0.0,
) -> Verdicts:
    """Compare builds that differ by what is given in every community."""
    rng = np.random.default_rng(seed)
    found = Verdicts()
    for _ in range(communities):
        found.add(draw(rng, plan or kind.plan(rng), kind.spreads, rate=rate, vacuum=vacuum))
    return found


def section_compared(communities: int, seed: int = 1) -> Section:
    """Equal builds, builds 1.5 margins apart, and a rate that falls by a tenth."""
    rows, checks = [], []
    for place, (name, kind) in enumerate(KINDS.items()):
        equal = compared(kind, communities, seed + place)
        apart = compared(kind, communities, seed + 100 + place, rate=0.925, vacuum=15.0)
        rows += [_compared_row(name, "nothing", equal), _compared_row(name, "1.5 margins", apart)]
        if kind.beyond:
            continue
        checks.append(Check(f"{name}, equal builds called different", equal.share("different"), 0.0, 0.05))
        checks.append(
            Check(f"{name}, 1.5 margins apart, any setting called same", apart.share("any_same"), 0.0, 0.05)
        )
        if kind.held:
            checks += [Check(f"{name}, {m}, difference held", equal.coverage(m), *kind.held) for m in METRICS]
    small = compared(KINDS["sound"], communities, seed + 300, plan=fixed_plan(3, 2, 3, 2))
    rows.append(_compared_row("3 clinics, 6 units a side", "nothing", small))
    checks += [
        Check(f"6 units a side from 3 clinics, {m}, difference held", small.coverage(m), 0.93, 0.97)
        for m in METRICS
    ]
    fall = compared(KINDS["sound"], communities, seed + 200, plan=fixed_plan(3, 2, 3, 2), rate=0.9)
    rows.append(_compared_row("3 clinics, 6 units a side", "rate down 10 %", fall))
    checks.append(
        Check(
            "rate down 10 %, 6 units a side from 3 clinics, called different", fall.share("different"), 0.95
        )
    )
    return Section(
        title="Comparisons: five settings, rate and vacuum; intervals of single differences at 95 %",
        columns=(
            "communities",
            "truth",
            "number",
            "different",
            "same",
            "any same",
            "rate held",
            "vacuum held",
        ),
        rows=rows,
        checks=checks,
        notes=(
            "different, same: over all settings together. any same: at one setting at least.",
            "rate, vacuum: how often the interval of a single difference holds the truth.",
        ),
    )


def _compared_row(kind: str, truth: str, of: Verdicts) -> tuple[str, ...]:
    shares = [percent(of.share(what)) for what in ("different", "same", "any_same")]
    held = [percent(of.coverage(metric)) for metric in METRICS]
    return (kind, truth, str(of.communities), *shares, *held)


def swapped(kind: Kind, communities: int, seed: int) -> dict[tuple[str, str], list[bool]]:
    """Whether the interval of each share held the truth, by metric and share."""
    rng = np.random.default_rng(seed)
    found: dict[tuple[str, str], list[bool]] = {(m, s): [] for m in METRICS for s in _SHARES}
    for _ in range(communities):
        base, part = rng.uniform(-0.1, 0.1, 2), rng.uniform(-15, 15, 2)
        rate = 75 * np.array(
            [[1.0], [1 + part[0] / 200], [1 + base[0]], [(1 + base[0]) * (1 + part[0] / 200)]]
        )
        vacuum = 220 + np.array([[0.0], [part[1]], [100 * base[1]], [100 * base[1] + 0.8 * part[1]]])
        community = read(rng, swap_plan(rng, kind.shape), rate=rate, vacuum=vacuum, spreads=kind.spreads)
        for metric, rows in community.frame.groupby("metric"):
            fitted = fit(readings(rows))
            if fitted is None or rows["cell"].nunique() < 4:
                continue
            shares, truth = split(fitted), _true_split(community.truth[str(metric)][:, 0])
            for name in _SHARES:
                share = getattr(shares, name)
                found[str(metric), name].append(share.low <= truth[name] <= share.high)
    return found


def _true_split(of: np.ndarray) -> dict[str, float]:
    """Old base with old and new part, new base with old and new part."""
    return {
        "total": of[3] - of[0],
        "part": ((of[1] - of[0]) + (of[3] - of[2])) / 2,
        "base": ((of[2] - of[0]) + (of[3] - of[1])) / 2,
        "interaction": of[3] - of[2] - of[1] + of[0],
    }


def section_swapped(communities: int, seed: int = 1) -> Section:
    """How often the shares of a part swap lie within their intervals."""
    rows, checks = [], []
    kinds = {name: KINDS[name] for name in ("sound", "5 % wild units")}
    kinds["parts act on each unit"] = Kind(Spreads(swapped=0.5))
    for place, (name, kind) in enumerate(kinds.items()):
        found = swapped(kind, communities, seed + place)
        for metric in METRICS:
            shares = [float(np.mean(found[metric, share])) for share in _SHARES]
            rows.append((name, metric, str(len(found[metric, "total"])), *map(percent, shares)))
            checks += [
                Check(f"{name}, {metric}, {share}", value, 0.93, 0.97)
                for share, value in zip(_SHARES, shares, strict=True)
            ]
    return Section(
        title="Part swaps: how often nominal 95 % intervals hold the truth",
        columns=("communities", "metric", "number", *_SHARES),
        rows=rows,
        checks=checks,
    )
