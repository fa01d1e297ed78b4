"""Every chance that was judged, so that a look at one subject counts what all others came to.

Read from the stored judgements when something first stands out, and once a look: how many chances each rule
has, and the small ones among them. What the present look said takes the place of what is stored.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from django.db import connection
from numpy.typing import NDArray

from registry.alerts.judgements import ALARM, CALM, subject_of
from registry.alerts.verdicts import Rule, Verdict
from registry.statistics.discoveries import factors_of, shares

# How much further than needed small chances are read, so that a family that grows seldom has them read again.
_FURTHER = 1.5
# Each rule by itself, so that the index of chances is gone through and not the judgements.
_COUNT = """
SELECT counted.size FROM unnest(%s::text[], %s::int[]) WITH ORDINALITY AS r (name, version, place),
LATERAL (
    SELECT count(*) AS size FROM registry_judgement j
    WHERE j.rule = r.name AND j.rule_version = r.version AND j.p IS NOT NULL
) counted ORDER BY r.place
"""
_LEAST = """
SELECT small.* FROM unnest(%s::text[], %s::int[], %s::float[]) AS r (name, version, most),
LATERAL (
    SELECT j.rule, j.rule_version, j.subject, j.p FROM registry_judgement j
    WHERE j.rule = r.name AND j.rule_version = r.version AND j.p < r.most
) small
"""
_REPLACED = """
SELECT j.rule, j.rule_version, count(j.p)
FROM unnest(%s::text[], %s::int[], %s::text[]) AS r (name, version, subject)
JOIN registry_judgement j ON j.rule = r.name AND j.rule_version = r.version AND j.subject = r.subject
GROUP BY j.rule, j.rule_version
"""

Key = tuple[str, int]


@dataclass(frozen=True)
class Family:
    """Everything that is looked at, by the names of rules: the small chances in order, and the share of false
    discoveries at each of them."""

    least: Mapping[str, NDArray[np.float64]]
    shares: Mapping[str, NDArray[np.float64]]

    def share(self, rule: Rule, chance: float | None) -> float:
        """The share of false discoveries if all as unlikely as this were told; 1 where it is no small one."""
        if chance is None:
            return 1.0
        found = self.shares[rule.name]
        place = int(np.searchsorted(self.least[rule.name], chance, side="left"))
        return float(found[place]) if place < found.size else 1.0


class Chances:
    """The chances of all subjects, by rule and version: those a look has said, and the stored ones."""

    def __init__(self) -> None:
        self._said: dict[Key, dict[str, float | None]] = {}
        self._pending: list[tuple[str, int, str]] = []
        self._sizes: dict[Key, int] = {}
        self._read: dict[Key, float] = {}
        self._least: dict[Key, dict[str, float]] = {}

    def put(self, rule: Rule, verdicts: Iterable[Verdict]) -> None:
        """Take what a rule said of some subjects in place of what is stored of them."""
        key = _key(rule)
        said = self._said.setdefault(key, {})
        for verdict in verdicts:
            subject = subject_of(verdict)
            if subject not in said:
                self._pending.append((*key, subject))
            said[subject] = verdict.p
            self._overlay(key, subject, verdict.p)

    def family(self, rules: Iterable[Rule]) -> Family:
        """All that the rules judged, whoever looked: three queries at most. No share is too small."""
        keys = [_key(rule) for rule in rules]
        self._count([key for key in keys if key not in self._sizes])
        self._leave_out_replaced()
        sizes = [self._size(key) for key in keys]
        most = [min(CALM, CALM / factor) if factor else 0.0 for factor in factors_of(sizes)]
        self._read_least(keys, most)
        least = [self._below(key, bound) for key, bound in zip(keys, most, strict=True)]
        names = [name for name, _ in keys]
        return Family(
            dict(zip(names, least, strict=True)), dict(zip(names, shares(least, sizes, ALARM), strict=True))
        )

    def _size(self, key: Key) -> int:
        """How many chances a rule has: those this look said, and the stored ones of other subjects."""
        said = self._said.get(key, {}).values()
        return self._sizes[key] + sum(p is not None for p in said)

    def _below(self, key: Key, bound: float) -> NDArray[np.float64]:
        found = np.fromiter(self._least.get(key, {}).values(), float)
        return np.sort(found[found < bound])

    def _count(self, keys: Sequence[Key]) -> None:
        """Count the stored chances of rules that were not asked for before."""
        if not keys:
            return
        names, versions = zip(*keys, strict=True)
        with connection.cursor() as cursor:
            cursor.execute(_COUNT, [list(names), list(versions)])
            self._sizes |= {key: int(size) for key, (size,) in zip(keys, cursor.fetchall(), strict=True)}

    def _leave_out_replaced(self) -> None:
        """Count out the stored chances of subjects that this look has judged."""
        counted = [said for said in self._pending if said[:2] in self._sizes]
        if not counted:
            return
        self._pending = [said for said in self._pending if said[:2] not in self._sizes]
        with connection.cursor() as cursor:
            cursor.execute(_REPLACED, [list(column) for column in zip(*counted, strict=True)])
            for name, version, size in cursor.fetchall():
                self._sizes[name, version] -= size

    def _read_least(self, keys: Sequence[Key], most: Sequence[float]) -> None:
        """Read the small chances of the rules of which not enough are known yet."""
        short = {
            key: _FURTHER * bound
            for key, bound in zip(keys, most, strict=True)
            if bound > self._read.get(key, 0.0)
        }
        if not short:
            return
        names, versions = zip(*short, strict=True)
        with connection.cursor() as cursor:
            cursor.execute(_LEAST, [list(names), list(versions), list(short.values())])
            found = cursor.fetchall()
        self._read |= short
        self._least |= {key: {} for key in short}
        for name, version, subject, p in found:
            self._least[name, version][subject] = p
        for key in short:
            for subject, p in self._said.get(key, {}).items():
                self._overlay(key, subject, p)

    def _overlay(self, key: Key, subject: str, p: float | None) -> None:
        """Keep what was said of a subject among the small chances, or leave it out of them."""
        if key not in self._least:
            return
        if p is not None and p < self._read[key]:
            self._least[key][subject] = p
        else:
            self._least[key].pop(subject, None)


def _key(rule: Rule) -> Key:
    return rule.name, rule.version
