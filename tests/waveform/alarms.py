"""How often each finding is raised where it is there and where it is not: random traces of many kinds."""

from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

import numpy as np

from registry.waveform import Measured, measure
from registry.waveform.findings import CATALOGUE

from .faults import SOUND, Case, Generator
from .troubles import FAULTS, NOT_PUMPS

# What stands for several codes of which any will do.
ANY_OF = {
    "held as no pump": {"not_a_pump", "weak_signal", "too_few_cycles", "rate_unlikely"},
    "held for few cycles": {"too_few_cycles", "not_a_pump", "weak_signal"},
}
KINDS = {**SOUND, **FAULTS}


@dataclass
class Tally:
    """Of one code: traces it was found in, it is there in, it was falsely raised in, and it is not in."""

    found: int = 0
    there: int = 0
    false: int = 0
    clear: int = 0
    where: Counter[str] = field(default_factory=Counter)


def measured(made: Case) -> Measured:
    """The case through the whole measurement."""
    return measure(made.data, gauge=made.gauge, declared=made.declared, usual=made.usual)


def counted(made: Case, raised: set[str], kind: str, tallies: dict[str, Tally]) -> None:
    """Count one trace for every code. Where a hold of several codes is due, others say nothing."""
    for code in made.there:
        tally = tallies.setdefault(code, Tally())
        tally.there += 1
        hit = bool(raised & ANY_OF.get(code, {code}))
        tally.found += hit
        tally.where[f"missed in {kind}"] += not hit
    if made.there & ANY_OF.keys():
        return
    for code in CATALOGUE.keys() - made.there - made.may:
        tally = tallies.setdefault(code, Tally())
        tally.clear += 1
        tally.false += code in raised
        tally.where[f"raised in {kind}"] += code in raised


def alarms(count: int, seed: int, kinds: dict[str, Callable[[Generator], Case]] = KINDS) -> dict[str, Tally]:
    """The tallies over `count` random traces of every kind."""
    tallies: dict[str, Tally] = {}
    for number, (kind, maker) in enumerate(kinds.items()):
        for index in range(count):
            made = maker(np.random.default_rng([seed, number, index]))
            raised = {item.code for item in measured(made).findings}
            counted(made, raised, kind, tallies)
    return tallies


def lines(count: int, seed: int) -> Iterator[str]:
    """The report, a code a line."""
    yield f"findings, {count} random traces of each of {len(KINDS)} kinds ({len(NOT_PUMPS)} of them no pump)"
    for code, tally in sorted(alarms(count, seed).items()):
        found = f"{tally.found}/{tally.there}" if tally.there else "-"
        worst = ", ".join(f"{where}: {n}" for where, n in tally.where.most_common(4) if n)
        yield f"  {code:20} found {found:>9}  raised where not there {tally.false}/{tally.clear}  {worst}"
