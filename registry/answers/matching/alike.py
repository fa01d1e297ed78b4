"""Which places may be held against an old setting: what has to be alike, and what may be another.

Protector, valve and tubing come with a pump, so every pump and build is measured with its own; to ask that
these are alike would leave nothing to hold against each other. Side, flange, load, power and elevation are
the bench's, and have to be alike always.
"""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from registry.answers.matching.ahead_table import Table
from registry.answers.places import UNKNOWN_REVISION, Place, build_of
from registry.models.bench import BETWEEN_PARTS, NOT_SAID

# The parts of a rig that come with a pump; a rig's label has them first, and what is the bench's after them.
_OF_PUMP = ("protector", "valve", "tubing")
OF_BENCH = ("flange", "load")
# More than these nobody reads in one caution.
_MOST = 3


def measured_alike(table: Table, old: Place, old_rig: str, rig: str | None) -> NDArray[np.bool_]:
    """The places that were measured as the old one was.

    Of its own build, and of units of its model of which the build is not known, with the same rig; of other
    builds and pumps with the same bench. `rig` is the label of a rig, or a part of it, that all have to have.
    """
    about = {"side": old.side, "power": old.power, "elevation": old.elevation}
    revision = table.column("revision")
    own = (table.column("pump_model") == old.pump_model) & np.isin(revision, (old.revision, UNKNOWN_REVISION))
    labels, code = table.rigs
    bench = np.array([bench_parts(label) == bench_parts(old_rig) for label in labels], bool)
    alike: NDArray[np.bool_] = np.where(own, table.column("rig") == old.rig, bench[code])
    return alike & table.marked(about, rig)


def bench_parts(label: str) -> tuple[str, str]:
    """Flange and load of a rig by its label."""
    _, flange, load = label.rsplit(BETWEEN_PARTS, len(OF_BENCH))
    return flange.removeprefix(NOT_SAID), load.removeprefix(NOT_SAID)


def other_parts(old: str, new: str) -> dict[str, str]:
    """What parts of its own the rig `new` has in place of others: {"protector": "domed in place of flat"}.

    Empty where these are alike. `old` and `new` are labels.
    """
    before, after = (label.rsplit(BETWEEN_PARTS, len(OF_BENCH))[0] for label in (old, new))
    parts = [of.split(BETWEEN_PARTS) for of in (before, after)]
    if any(len(of) != len(_OF_PUMP) for of in parts):
        return {} if before == after else {"part": f"{after} in place of {before}"}
    return {
        name: f"{_said(name, other)} in place of {_said(name, own)}"
        for name, own, other in zip(_OF_PUMP, *parts, strict=True)
        if own != other
    }


def _said(name: str, value: str) -> str:
    return f"a {name} nobody named" if value == NOT_SAID else value


def told_parts(row: Mapping[str, Any]) -> str:
    """The other parts of a row of the document in one text; empty where there are none."""
    return ", ".join(row["other_parts"].values())


def cautions_of(rows: Iterable[Mapping[str, Any]], *, with_model: bool) -> list[str]:
    """What to bear in mind where rows of the document were measured with other parts; one caution at most."""
    builds: dict[tuple[str, str], dict[str, None]] = {}
    for row in rows:
        if row["other_parts"]:
            other = f"another {' and '.join(row['other_parts'])} ({told_parts(row)})"
            builds.setdefault((row["model"], other), {})[build_of(row, with_model=with_model)] = None
    told = [
        f"{next(iter(of)) if len(of) == 1 else f'several builds of {model}'} measured with {other}"
        for (model, other), of in builds.items()
    ]
    if not told:
        return []
    more = f"; and {len(told) - _MOST} more" if len(told) > _MOST else ""
    text = "; ".join(told[:_MOST])
    return [f"Part of what differs may come from parts of the pump: {text}{more}."]


def mostly_with(rows: Sequence[Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    """Those rows of each build that were measured with the parts most of its units were measured with."""
    units: dict[tuple[str, str | None], dict[str, int]] = {}
    for row in rows:
        of_build = units.setdefault((row["model"], row["revision"]), {})
        of_build[row["rig"]] = max(of_build.get(row["rig"], 0), row["units"])
    most = {build: max(of.values()) for build, of in units.items()}
    return [
        row
        for row in rows
        for build in [(row["model"], row["revision"])]
        if units[build][row["rig"]] == most[build]
    ]
