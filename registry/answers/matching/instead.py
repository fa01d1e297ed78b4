"""What was measured of pump models where nothing fits a question about settings."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

import numpy as np

from registry.answers.matching.ahead import FIGURES
from registry.answers.matching.ahead_kept import Asked, table_of
from registry.answers.matching.ahead_table import Table
from registry.answers.matching.alike import bench_parts
from registry.answers.unmatched import UNKNOWN, none_has
from registry.models import PumpModel
from registry.waveform.editions import edition_of

_UNITS = FIGURES.index("units")


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
    everything = replace(asked, metrics=tuple(edition_of(asked.edition).metrics), where={})
    rows = list(_rows(table_of(everything, pump_models)))
    found = (none_has(rows, {**wanted, "metric": metric}, (rig or "").strip()) for metric in metrics)
    return next(filter(None, found), "")


def _rows(table: Table) -> Iterator[dict[str, str]]:
    """A row a place and metric, by the words that questions are narrowed with."""
    for ahead in table.aheads:
        for named, units in zip(ahead.places, ahead.figures[:, :, _UNITS], strict=True):
            place = named.place
            flange, load = bench_parts(named.rig)
            at = {
                "revision": named.revision or UNKNOWN,
                "mode": place.mode,
                "programme": place.programme,
                "level": place.level,
                "side": place.side,
                "flange": flange,
                "load": load,
                "power": place.power,
                "elevation": place.elevation,
                "rig": named.rig,
            }
            for metric in np.flatnonzero(~np.isnan(units)).tolist():
                yield {**at, "metric": ahead.metrics[metric]}
