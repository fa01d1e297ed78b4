"""What was measured of pump models where nothing fits a question about settings."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from registry.answers.matching.ahead_kept import Asked, kept_of
from registry.answers.matching.ahead_table import Table
from registry.answers.matching.alike import OF_BENCH, bench_parts
from registry.answers.measured_words import measured_words
from registry.answers.narrowing import rig_labels
from registry.answers.unmatched import UNKNOWN, Measured, Rows, none_has
from registry.models import PumpModel
from registry.waveform.editions import edition_of


def there_is(
    asked: Asked,
    pump_models: Sequence[PumpModel] | None,
    wanted: Mapping[str, str | None],
    metrics: Sequence[str],
    rig: str | None,
) -> str:
    """Return which word of a question about settings nothing measured has, and what there is.

    See `unmatched.none_has`; each of the metrics is looked for by itself. `pump_models` None is every pump.
    """
    rig = (rig or "").strip()
    measured = _measured(asked, pump_models, revisions=wanted.get("revision") is not None)
    found = (none_has(measured, {**wanted, "metric": metric}, rig) for metric in metrics)
    return next(filter(None, found), "")


def _measured(asked: Asked, pump_models: Sequence[PumpModel] | None, *, revisions: bool) -> Measured:
    """All that was measured: of what is kept, and of summaries where it is not. Nothing is fitted for it."""
    if asked.moment is not None:
        return _of_past(asked, pump_models)
    table, missing = kept_of(asked.edition, pump_models)
    places = Places(table, np.arange(table.size))
    if not missing:
        return places
    found = measured_words(revisions=revisions, edition=asked.edition, pump_model__in=missing)
    return Either(places, _with_bench(found.rows))


def _of_past(asked: Asked, pump_models: Sequence[PumpModel] | None) -> Measured:
    metrics = tuple(edition_of(asked.edition).metrics)
    among = {} if pump_models is None else {"pump_model__in": [one.pk for one in pump_models]}
    blocks = replace(asked, metrics=metrics, where={}).blocks(**among)
    labels = rig_labels(blocks)
    builds = {of.pk: of.label for one in pump_models or () for of in one.revisions.all()}
    return _with_bench(
        [{**block.setting.named(labels), "revision": builds.get(block.revision, UNKNOWN)} for block in blocks]
    )


def _with_bench(rows: Sequence[Mapping[str, str]]) -> Rows:
    """The same with flange and load, which questions about likenesses hold alike."""
    return Rows([{**row, **dict(zip(OF_BENCH, bench_parts(row["rig"]), strict=True))} for row in rows])


@dataclass(frozen=True)
class Either:
    """What one or the other has, as `unmatched.Measured`."""

    one: Measured
    other: Measured

    def __bool__(self) -> bool:
        """Whether there is anything."""
        return bool(self.one) or bool(self.other)

    def words(self, kind: str) -> set[str]:
        """The words of a kind in either."""
        return self.one.words(kind) | self.other.words(kind)

    def having(self, kind: str, word: str) -> "Either":
        """What has that word in either."""
        return Either(self.one.having(kind, word), self.other.having(kind, word))


@dataclass(frozen=True)
class Places:
    """Some rows of a table as `unmatched.Measured`; a place has as many metrics as were measured there."""

    table: Table
    rows: NDArray[np.intp]

    def __bool__(self) -> bool:
        """Whether there is any place."""
        return bool(self.rows.size)

    def words(self, kind: str) -> set[str]:
        """The words of a kind at any place."""
        if kind == "metric":
            return self._metrics()
        words, _ = self._coded(kind)
        return set(words)

    def having(self, kind: str, word: str) -> "Places":
        """The places that have that word."""
        if kind == "metric":
            there = ~np.isnan(self.table.figures(word, "units")[self.rows])
        else:
            words, code = self._coded(kind)
            same = np.array([one.upper() == word.upper() for one in words], bool)
            if same.all():
                return self
            there = same[code]
        return replace(self, rows=self.rows[there])

    def _coded(self, kind: str) -> tuple[list[str], NDArray[np.intp]]:
        """The words of a kind, and which of them each place has."""
        if kind == "revision":
            return _told_apart(np.array([self.table.named(row).revision or UNKNOWN for row in self.rows]))
        if kind not in ("rig", *OF_BENCH):
            return _told_apart(self.table.column(kind)[self.rows])
        labels, code = self.table.rigs
        there, code = np.unique(code[self.rows], return_inverse=True)
        labels = [labels[one] for one in there]
        if kind == "rig":
            return labels, code
        return [bench_parts(label)[OF_BENCH.index(kind)] for label in labels], code

    def _metrics(self) -> set[str]:
        metrics = {metric for ahead in self.table.aheads for metric in ahead.metrics}
        return {metric for metric in metrics if self.having("metric", metric)}


def _told_apart(column: NDArray[Any]) -> tuple[list[str], NDArray[np.intp]]:
    words, code = np.unique(column, return_inverse=True)
    return words.tolist(), code
