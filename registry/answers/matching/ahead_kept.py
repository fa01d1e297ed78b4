"""What is ahead at the places of pump models: as it is kept, and of summaries where it is not.

A question about every pump takes in thousands of places, more than can be read for each. So a process holds
what it read before, and one query tells of which models that is still good: their changes are counted.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from threading import Lock
from typing import Any

import numpy as np
from django.db import connection
from numpy.typing import NDArray

from registry.answers.blocks import Block, summary_blocks
from registry.answers.keeping.parts import PartKind, fresh
from registry.answers.matching.ahead import ALIKE, FIGURES, Ahead, ahead_of, differences, nothing_ahead
from registry.answers.matching.ahead_packed import packed, unpacked
from registry.answers.matching.ahead_table import Table
from registry.answers.matching.alike import bench_parts
from registry.answers.places import UNKNOWN_REVISION, Names, names_in
from registry.models import PumpModel
from registry.models.kept import EVERYTHING

# Differences between places of a model are kept for so many pairs, the nearest ones.
_MOST_LINKS = 1_500
_MOST_BYTES_HELD = 64 << 20
_HAIR = 1e-300

# All counts of changes, unless they are those of before. Counts of a database that was restored, emptied or
# put in another's place stand for something else, so it is told which one they are of.
_COUNTS = """
WITH counted AS MATERIALIZED (
    SELECT scope, sum(n)::bigint AS n FROM registry_changecount GROUP BY scope
), now AS (
    SELECT concat_ws(' ', current_database(), pg_postmaster_start_time(),
                     pg_relation_filenode('registry_changecount')) AS database,
           coalesce(sum(n), 0)::bigint AS n
    FROM counted
)
SELECT database, n, CASE WHEN (database, n) IS DISTINCT FROM (%(database)s, %(total)s)
                         THEN coalesce((SELECT json_object_agg(scope, n) FROM counted), '{}') END
FROM now
"""


@dataclass(frozen=True)
class Asked:
    """Which summaries a question takes in: filters on UnitSummary, with the metrics and the edition."""

    edition: int
    metrics: tuple[str, ...]
    where: Mapping[str, Any] = field(default_factory=dict)
    moment: datetime | None = None

    def blocks(self, **more: Any) -> list[Block]:
        """The summaries."""
        return summary_blocks(
            self.moment, edition=self.edition, metric__in=self.metrics, **self.where, **more
        )


def table_of(asked: Asked, pump_models: Sequence[PumpModel] | None) -> Table:
    """Return what is ahead at the places of those models, or of all; more places may be there than asked for.

    One query where all of it is kept; else the rest is worked out of its summaries.
    """
    if asked.moment is not None:
        among = {} if pump_models is None else {"pump_model__in": [one.pk for one in pump_models]}
        return Table(_of_summaries(asked, among, pump_models))
    table, missing = kept_of(asked.edition, pump_models)
    if not missing:
        return table
    named = None if pump_models is None else [one for one in pump_models if one.pk in missing]
    made = _of_summaries(asked, {"pump_model__in": list(missing)}, named)
    return Table([*table.aheads, *made]) if made else table


def kept_of(edition: int, pump_models: Sequence[PumpModel] | None) -> tuple[Table, Sequence[int]]:
    """Return what is kept of those models, or of all, and the models of which nothing good is kept.

    One query; several where something changed.
    """
    if pump_models is None:
        return _everywhere(edition)
    keys = [one.pk for one in pump_models]
    found = {model: unpacked(body) for model, body in fresh(AHEAD, edition, models=keys).items()}
    return Table(list(found.values())), [key for key in keys if key not in found]


def _of_summaries(
    asked: Asked, among: Mapping[str, Any], pump_models: Sequence[PumpModel] | None
) -> list[Ahead]:
    blocks = asked.blocks(**among)
    only = pump_models[0] if pump_models is not None and len(pump_models) == 1 else None
    return ahead_of(blocks, asked.metrics, names_in(blocks, only))


@dataclass(frozen=True)
class _Counted:
    """How often anything was changed in which database, and each scope."""

    database: str
    total: int
    scopes: Mapping[int, int]

    def of(self, model: int) -> int:
        """How often what parts of a pump model rest on was changed."""
        return self.scopes.get(model, 0) + self.scopes.get(EVERYTHING, 0)


_NOTHING = _Counted("", -1, {})


@dataclass(frozen=True)
class _Held:
    """What a process read of a database, by pump model, with the counts of changes before it was read.

    `apart` are models for which there is no room, `missing` those of which nothing good is kept.
    """

    counted: "_Counted"
    aheads: Mapping[int, Ahead]
    apart: tuple[int, ...]
    missing: tuple[int, ...]
    table: Table


_held: dict[int, _Held] = {}
_reading = Lock()


def _everywhere(edition: int) -> tuple[Table, Sequence[int]]:
    # Within a transaction counts may be taken back, and then the same ones stand for something else.
    held = _read(edition, None, _NOTHING) if connection.in_atomic_block else _refreshed(edition)
    if not held.apart:
        return held.table, held.missing
    kept = fresh(AHEAD, edition, models=held.apart)
    missing = [*held.missing, *(model for model in held.apart if model not in kept)]
    return Table([*held.aheads.values(), *map(unpacked, kept.values())]), missing


def _refreshed(edition: int) -> _Held:
    """What is held, read again where changes were counted, or where nothing good was kept before."""
    held = _held.get(edition)
    counted = _count(held)
    if held and counted is held.counted and not held.missing:
        return held
    with _reading:
        if held is not _held.get(edition):
            # Another thread read meanwhile.
            held = _held[edition]
            counted = _count(held)
        _held[edition] = _read(edition, held, counted)
        return _held[edition]


def _read(edition: int, held: _Held | None, counted: _Counted) -> _Held:
    """Read what is not held. It is good now, later than `counted`: should that change, it is read again."""
    models = list(PumpModel.objects.order_by("pk").values_list("pk", flat=True))
    same_database = held is not None and held.counted.database == counted.database
    before = held.aheads if held and same_database else {}
    good = {
        model: before[model]
        for model in models
        if held and model in before and held.counted.of(model) == counted.of(model)
    }
    found = fresh(AHEAD, edition, models=[model for model in models if model not in good])
    size = sum(one.size for one in good.values())
    apart = []
    for model, body in found.items():
        size += len(body)
        if size <= _MOST_BYTES_HELD:
            good[model] = unpacked(body)
        else:
            apart.append(model)
    missing = tuple(model for model in models if model not in good and model not in found)
    same = same_database and good.keys() == before.keys() and all(good[of] is before[of] for of in good)
    table = held.table if held and same else Table(list(good.values()))
    return _Held(counted, good, tuple(apart), missing, table)


def _count(held: _Held | None) -> _Counted:
    """How often what was changed until now: the very counts of what is held where these are the same."""
    before = held.counted if held else _NOTHING
    with connection.cursor() as cursor:
        cursor.execute(_COUNTS, {"database": before.database, "total": before.total})
        database, total, scopes = cursor.fetchone()
    if scopes is None:
        return before
    return _Counted(database, total, {int(scope): n for scope, n in scopes.items()})


def _make(model: int, edition: int, _: str) -> bytes:
    blocks = summary_blocks(pump_model=model, edition=edition)
    metrics = sorted({block.setting.metric for block in blocks})
    names: Names = names_in(blocks, PumpModel.objects.get(pk=model))
    made = ahead_of(blocks, metrics, names)
    if not made:
        return packed(nothing_ahead())
    ahead = made[0]
    pairs = _nearest_pairs(ahead)
    at = [ahead.blocks[named.place] for named in ahead.places]
    found = differences([(at[one], at[other]) for one, other in pairs])
    ahead.links.update(zip(pairs, found, strict=True))
    return packed(ahead)


def _nearest_pairs(ahead: Ahead) -> list[tuple[int, int]]:
    """Pairs of places of one mode measured alike for both metrics of ALIKE, the nearest by medians first."""
    rows: dict[tuple[Any, ...], list[int]] = {}
    for row, named in enumerate(ahead.places):
        if all(metric in ahead.blocks[named.place] for metric in ALIKE):
            place = named.place
            on_bench = (place.side, *bench_parts(named.rig), place.power, place.elevation)
            rows.setdefault((place.mode, *on_bench), []).append(row)
    pairs = np.concatenate([np.zeros((0, 2), int), *(_all_pairs(alike) for alike in rows.values())])
    pairs = pairs[_comparable(ahead, pairs)]
    if len(pairs) > _MOST_LINKS:
        medians = np.stack([ahead.figures_of(metric)[:, FIGURES.index("median")] for metric in ALIKE], axis=1)
        one, other = medians[pairs[:, 0]], medians[pairs[:, 1]]
        # Goes with the ratio of both, and is known where a median is nought.
        far = np.max(np.abs(one - other) / np.maximum(np.abs(one) + np.abs(other), _HAIR), axis=1)
        pairs = pairs[np.sort(np.argsort(far, kind="stable")[:_MOST_LINKS])]
    return [(one, other) for one, other in pairs.tolist()]


def _comparable(ahead: Ahead, pairs: NDArray[np.intp]) -> NDArray[np.bool_]:
    """Which pairs measured on one bench are of one rig, or of two builds that are known."""
    rig, revision = (ahead.columns[name][pairs] for name in ("rig", "revision"))
    two_builds = (revision[:, 0] != revision[:, 1]) & (revision != UNKNOWN_REVISION).all(axis=1)
    of_both: NDArray[np.bool_] = (rig[:, 0] == rig[:, 1]) | two_builds
    return of_both


def _all_pairs(rows: Sequence[int]) -> NDArray[np.intp]:
    """Each two of ascending rows, the first one before the other."""
    return np.array(rows)[np.stack(np.triu_indices(len(rows), 1), axis=1)]


AHEAD = PartKind("ahead", _make, lambda *_: ("",))
