"""Differences between one place and others, as they are kept or worked out now."""

from collections.abc import Sequence

import numpy as np

from registry.answers.matching.ahead import ALIKE, differences, reversed_difference
from registry.answers.matching.ahead_kept import Asked
from registry.answers.matching.ahead_table import Table
from registry.answers.matching.leaning import Leaning, apart
from registry.answers.places import by_place
from registry.statistics.matching import Rows
from registry.statistics.robust import Floats


def likenesses(table: Table, old: int, new: Rows, asked: Asked) -> Floats:
    """Return new less old: places by metrics of ALIKE by value, standard error and degrees of freedom.

    Between places of one model as a comparison works it out, units and gauges being their own controls;
    between models as `leaning.apart`. NaN where nothing tells how much units scatter. One query where
    something is not kept.
    """
    home, _ = table.where(old)
    found = np.full((new.size, len(ALIKE), 3), np.nan)
    elsewhere = [at for at, row in enumerate(new.tolist()) if table.where(row)[0] is not home]
    if elsewhere:
        found[elsewhere] = _between_models(table, old, new[elsewhere])
    at_home = sorted(set(range(new.size)) - set(elsewhere))
    if at_home:
        found[at_home] = _within_model(table, old, new[at_home], asked)
    return found


def _within_model(table: Table, old: int, new: Rows, asked: Asked) -> Floats:
    home, one = table.where(old)
    others = [table.where(row)[1] for row in new.tolist()]
    # A pair is worked out the same way round, whichever of both is asked about.
    pairs = {other: (min(one, other), max(one, other)) for other in others}
    missing = sorted({pair for pair in pairs.values() if pair not in home.links})
    links = dict(home.links)
    if missing:
        blocks = home.blocks or by_place(asked.blocks(pump_model=home.places[one].place.pump_model))
        sides = {row: blocks[home.places[row].place] for pair in missing for row in pair}
        made = differences([(sides[first], sides[second]) for first, second in missing])
        links |= dict(zip(missing, made, strict=True))
    return np.array(
        [links[pair] if pair[0] == one else reversed_difference(links[pair]) for pair in pairs.values()]
    )


def _between_models(table: Table, old: int, new: Rows) -> Floats:
    found = np.full((new.size, len(ALIKE), 3), np.nan)
    for metric in range(len(ALIKE)):
        before = _leaning(table, old, metric)
        after = [_leaning(table, row, metric) for row in new.tolist()]
        known = [at for at, of in enumerate(after) if of.means.size]
        if before.means.size and known:
            found[known, metric] = apart(before, Leaning.joined([after[at] for at in known]))
    return found


def _leaning(table: Table, row: int, metric: int) -> Leaning:
    ahead, at = table.where(row)
    return ahead.leaning.at(at, metric)


def medians(table: Table, rows: Rows | Sequence[int]) -> Floats:
    """The medians of unit means at some places, a column a metric of ALIKE."""
    return np.stack([table.figures(metric, "median")[rows] for metric in ALIKE], axis=1)
