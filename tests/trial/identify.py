"""How often a pump's traces are put down to the right build, on communities of known truth."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np

from registry.statistics.foreseen import Foreseen, foresee
from registry.statistics.posterior import judge, posterior, prior_of
from registry.statistics.precision import ENOUGH_CLINICS, ENOUGH_UNITS
from registry.statistics.predictive import Reading
from registry.statistics.recorded import Known, log_likelihoods
from registry.statistics.togetherness import Code, Seen, Together
from tests.trial.communities import (
    METRICS,
    RATE,
    Community,
    Floats,
    Plan,
    Shape,
    Spreads,
    nested_plan,
    read,
    readings,
)
from tests.trial.report import ENOUGH, Check, Section, percent

BUILDS, SETTINGS, OF_EACH = 2, 2, 6
MIXED = "apart by 0 to 15 %, 5 % of no list"


@dataclass(frozen=True)
class Kind:
    """Communities of one kind: the builds' rates differ by `rate`, their vacuums by `vacuum`.

    A pair of numbers is drawn from evenly. With `unlisted` the pump in hand is of a build that is in no list
    and lies a quarter off in rate.
    """

    rate: tuple[float, float] = (0.9, 0.9)
    vacuum: tuple[float, float] = (0.0, 0.0)
    spreads: Spreads = field(default_factory=Spreads)
    shape: Shape = field(default_factory=Shape)
    unlisted: float = 0.0


KINDS: Mapping[str, Kind] = MappingProxyType(
    {
        "rate down 10 %": Kind(),
        "rate down 10 %, units lean otherwise at each level": Kind(spreads=Spreads(alike=0.2)),
        "rate down 10 %, 5 % wild units": Kind(spreads=Spreads(wild=0.05)),
        MIXED: Kind(rate=(0.85, 1.0), vacuum=(-15.0, 15.0), unlisted=0.05),
        "equal builds": Kind(rate=(1.0, 1.0)),
        "of no list": Kind(unlisted=1.0),
    }
)


@dataclass
class Tally:
    """What was stated of pumps in hand: chances and the truth (place of the build, the last for none)."""

    chances: list[Floats] = field(default_factory=list)
    truth: list[int] = field(default_factory=list)
    named: list[int | None] = field(default_factory=list)
    nearest: list[int] = field(default_factory=list)

    def first(self) -> float:
        """How often the likeliest of the listed builds is the right one."""
        return float(np.mean([np.argmax(c[:-1]) == t for c, t in zip(self.chances, self.truth, strict=True)]))

    def by_nearest(self) -> float:
        """How often the build whose mean lies nearest is the right one."""
        return float(np.mean([n == t for n, t in zip(self.nearest, self.truth, strict=True)]))

    def right(self) -> float:
        """How often the right hypothesis was named."""
        return self._share(lambda named, truth: named == truth)

    def wrong(self) -> float:
        """How often a listed build was named that it is not."""
        return self._share(lambda named, truth: named is not None and named < BUILDS and named != truth)

    def denied(self) -> float:
        """How often a pump of a listed build was said to be of none."""
        return self._share(lambda named, truth: named == BUILDS and truth < BUILDS)

    def _share(self, counts: Callable[[int | None, int], bool]) -> float:
        return float(np.mean([counts(n, t) for n, t in zip(self.named, self.truth, strict=True)]))

    def unnamed(self) -> float:
        """How often it could not tell."""
        return float(np.mean([n is None for n in self.named]))


def identified(kind: Kind, communities: int, seed: int) -> Tally:
    """Identify pumps in hand, six a community, each from one trace at each of two settings."""
    rng = np.random.default_rng(seed)
    found = Tally()
    for _ in range(communities):
        community = _draw(rng, kind)
        known, thin = _known(community)
        for _ in range(OF_EACH):
            truth = BUILDS if rng.random() < kind.unlisted else int(rng.integers(BUILDS))
            recorded = list(_in_hand(rng, community, truth))
            logs = log_likelihoods(known, recorded)
            chances = posterior(prior_of(BUILDS), [logs])
            top = int(np.argmax(chances))
            without = prior_of(BUILDS) if (any(thin) if top == BUILDS else thin[top]) else chances
            verdict = judge(chances, without, says_anything=float(np.ptp(logs)) > np.log(3))
            found.chances.append(chances)
            found.truth.append(truth)
            found.named.append(verdict.place)
            found.nearest.append(_nearest(community, recorded))
    return found


def _draw(rng: np.random.Generator, kind: Kind) -> Community:
    rates, vacuums = np.sort(rng.uniform(45, 110, SETTINGS)), np.sort(rng.uniform(100, 280, SETTINGS))
    slower, stronger = rng.uniform(*kind.rate), rng.uniform(*kind.vacuum)
    plan: Plan = nested_plan(rng, kind.shape, cells=BUILDS)
    return read(
        rng,
        plan,
        rate=np.stack([rates, rates * slower]),
        vacuum=np.stack([vacuums, vacuums + stronger]),
        spreads=kind.spreads,
    )


def _known(community: Community) -> tuple[Known, list[bool]]:
    """What the registry would know, and which builds have too few units or clinics to be named."""
    foreseen: dict[Code, list[Foreseen | None]] = {}
    seen: dict[Code, list[Seen]] = {}
    frame = community.frame
    for (metric, _), rows in frame.groupby(["metric", "setting"]):
        code = (int(rows["setting"].iloc[0]), str(metric))
        foreseen[code] = [*foresee(readings(rows), str(metric))]
        seen[code] = [
            Seen(*(of[name].to_numpy() for name in ("unit", "clinic", "mean")))
            for _, of in rows.groupby("cell")
        ]
    counts = frame.groupby("cell")[["unit", "clinic"]].nunique()
    thin = ((counts["unit"] < ENOUGH_UNITS) | (counts["clinic"] < ENOUGH_CLINICS)).tolist()
    return Known(BUILDS, foreseen, Together(seen)), thin


def _in_hand(rng: np.random.Generator, community: Community, truth: int) -> Iterator[Reading]:
    """A pump that nobody saw before, recorded once at each setting with one gauge nobody used before."""
    of = community.spreads
    gain, zero = rng.normal(1, of.gain), rng.normal(0, of.zero)
    off = rng.choice([0.75, 1.25])
    for metric in METRICS:
        centre = community.truth[metric][min(truth, BUILDS - 1)]
        if truth == BUILDS and metric == RATE:
            centre = community.truth[metric].mean(axis=0) * off
        own = rng.normal() * of.alike**0.5 + rng.normal(size=SETTINGS) * (1 - of.alike) ** 0.5
        true = centre + of.between(metric, centre) * own
        leaning = true * rng.normal(1, of.clock) if metric == RATE else gain * true + zero
        value = leaning + rng.normal(size=SETTINGS) * of.repeat(metric, centre)
        for setting in range(SETTINGS):
            random = of.own * float(of.repeat(metric, centre)[setting])
            systematic = of.declared * float(of.gauge(metric, centre)[setting])
            yield Reading((setting, metric), 0, float(value[setting]), random, systematic)


def _nearest(community: Community, recorded: list[Reading]) -> int:
    """A plain peer: the build whose mean over all runs lies nearest, in what matters (5 %, 10 mmHg)."""
    distance = np.zeros(BUILDS)
    frame = community.frame
    for of in recorded:
        setting, metric = of.code
        rows = frame[(frame["metric"] == metric) & (frame["setting"] == setting)]
        means = rows.groupby("cell")["mean"].mean().to_numpy()
        distance += ((of.value - means) / (0.05 * means if metric == RATE else 10.0)) ** 2
    return int(np.argmin(distance))


def reliability(tally: Tally, bins: int = 10) -> Iterator[tuple[float, float, int]]:
    """Mean stated chance, share that were so, and how many, by tenths of the stated chance, of all hypotheses
    together."""
    stated = np.concatenate(tally.chances)
    so = np.concatenate([np.arange(BUILDS + 1) == truth for truth in tally.truth])
    place = np.minimum((stated * bins).astype(int), bins - 1)
    for one in range(bins):
        there = place == one
        if there.any():
            yield float(stated[there].mean()), float(so[there].mean()), int(there.sum())


# Only the reliability table needs all communities; a quarter, 500 at least, serves the rest.
_SHARE, _LEAST = 4, 500
_STATED = ("rate down 10 %", "rate down 10 %, units lean otherwise at each level")


def section(communities: int, seed: int = 1) -> Section:
    """How often the right build comes first and is named, beside the nearest mean; and stated chances."""
    rows, checks = [], []
    tallies = {}
    for place, (name, kind) in enumerate(KINDS.items()):
        size = communities if name == MIXED else max(communities // _SHARE, min(communities, _LEAST))
        found = tallies[name] = identified(kind, size, seed + place)
        shares = [
            found.first(),
            found.by_nearest(),
            found.right(),
            found.wrong(),
            found.denied(),
            found.unnamed(),
        ]
        rows.append((name, str(len(found.truth)), *map(percent, shares)))
    for name in _STATED:
        checks.append(Check(f"{name}, right build first", tallies[name].first(), 0.95))
        checks.append(Check(f"{name}, wrong build named", tallies[name].wrong(), 0.0, 0.05))
    checks.append(Check(f"{MIXED}, wrong build named", tallies[MIXED].wrong(), 0.0, 0.05))
    checks.append(Check("equal builds, cannot tell", tallies["equal builds"].unnamed(), 0.95))
    checks.append(Check("of no list, a listed build named", tallies["of no list"].wrong(), 0.0, 0.01))
    table = list(reliability(tallies[MIXED], bins=10 if communities >= ENOUGH else 2))
    worst = max(abs(said - so) for said, so, _ in table)
    checks.append(Check(f"{MIXED}, furthest a stated chance is off", worst, 0.0, 0.05))
    stated = ", ".join(f"{percent(said)} {percent(so)} ({size})" for said, so, size in table)
    return Section(
        title="Identifications: one trace at each of two settings, two builds, six pumps a community",
        columns=("communities", "pumps", "first", "nearest", "named right", "wrong", "denied", "cannot tell"),
        rows=rows,
        checks=checks,
        notes=(
            "first: the likeliest listed build is right. nearest: a peer, the build of the nearest mean, is.",
            "named right: from 80 % up. wrong: a listed build it is not. denied: none of the list, wrongly.",
            f"{MIXED}: stated, so (number), by tenths: {stated}",
        ),
    )
