"""What rows were measured with, and in which air.

What all share is told once, and each row tells what it has of its own.
"""

from collections.abc import Iterable, Mapping, Sequence
from itertools import compress
from typing import Any

from rich.console import Console
from rich.text import Text

from client_cli.render.runs import setting
from client_cli.text import clean, one_line

_BETWEEN = " / "
_SIDES = ("left", "right")
_AROUND = ("rig", "power", "elevation")
# A table stands for what shares all these.
PLACE = ("mode", "programme", "level", "side", *_AROUND)

Around = tuple[str, ...]


class Rigs:
    """The rigs, powers and bands of elevation of some rows.

    `shared` is what all have in common, empty where that is nothing; `own` is what one row has beside it.
    Rigs that are not built alike share only what is the same as a whole.
    """

    def __init__(self, rows: Iterable[Mapping[str, Any]]) -> None:
        around = list(dict.fromkeys(_around(row) for row in rows))
        self._parts = {one: _parts(around, one) for one in around}
        columns = list(zip(*self._parts.values(), strict=True))
        self._differ = [len(set(column)) > 1 for column in columns]
        self.shared = _joined(column[0] for column in columns if len(set(column)) == 1)

    def own(self, row: Mapping[str, Any]) -> str:
        """The parts, power and band of elevation of a row that not all rows have."""
        return _joined(compress(self._parts[_around(row)], self._differ))


def show_shared(console: Console, rigs: Rigs) -> None:
    """What all rows were measured with, once."""
    if rigs.shared:
        console.print()
        console.print(Text(f"All with {rigs.shared}.", style="dim"))


def title(row: Mapping[str, Any], rigs: Rigs, before: str = "") -> str:
    """A setting with what not all rows were measured with, and with what stands before it."""
    named = ", ".join(filter(None, [before, setting(dict(row)), *side_of(row), rigs.own(row)]))
    return f"{named[:1].upper()}{named[1:]}"


def side_of(row: Mapping[str, Any]) -> list[str]:
    """The side of a double pump in words; nothing of a single one."""
    return [f"{one_line(row['side'])} side"] if row.get("side") in _SIDES else []


def _around(row: Mapping[str, Any]) -> Around:
    return tuple(clean(row.get(name) or "") for name in _AROUND)


def _parts(around: Sequence[Around], one: Around) -> list[str]:
    """The parts of a rig, whole where rigs have unlike many, then power and elevation.

    Where others say one of these, who does not is told so.
    """
    rig, *rest = one
    alike = len({len(other[0].split(_BETWEEN)) for other in around}) == 1
    said = [any(column) for column in zip(*(other[1:] for other in around), strict=True)]
    told = [
        value or (f"{name} not said" if others else "")
        for name, value, others in zip(_AROUND[1:], rest, said, strict=True)
    ]
    return [*(rig.split(_BETWEEN) if alike else [rig]), *told]


def _joined(parts: Iterable[str]) -> str:
    return _BETWEEN.join(part for part in parts if part)
