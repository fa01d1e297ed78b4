"""The headings of a table: what each column is called, in what unit, and which is meant by a name."""

import re
from dataclasses import dataclass

from registry.waveform.types import ReadError

from .layout import Layout
from .words import split_name

VACUUM = re.compile(
    r"vac|vakuum|unterdruck|vide|vuoto|suction|pressure|press|druck|pression|presi|^p$|(?:^|[^a-z])p(?:$|[^a-z])"
)


@dataclass(frozen=True)
class Headings:
    """A column each: `kinds` of cells, `names` as shown to people, `labels` and `units` as written.

    `within` is the unit that cells repeat, which is the column's where no heading has one.
    """

    kinds: tuple[str, ...]
    names: tuple[str, ...]
    labels: tuple[str, ...]
    units: tuple[str, ...]
    line: int | None
    named: bool
    within: tuple[str, ...]

    def found(self, name: str) -> list[int]:
        """Columns a name stands for: whole heading, else heading without unit, else number from 1."""
        wanted, label = _plain(name), _plain(split_name(name)[0])
        if self.named:
            for wish, names in ((wanted, self.names), (label, self.labels)):
                same = [index for index, own in enumerate(names) if _plain(own) == wish]
                if same:
                    return same
        digits = wanted.removeprefix("column")
        if digits.isascii() and digits.isdigit() and len(digits) < 5 and 1 <= int(digits) <= len(self.names):
            return [int(digits) - 1]
        return []


def headings_of(layout: Layout) -> Headings:
    """Headings with units from their own row or from cells; `column 2` where there are no headings."""
    width = len(layout.kinds)
    named = bool(layout.names)
    within = layout.cell_units or ("",) * width
    if not named:
        numbers = tuple(f"column {index + 1}" for index in range(width))
        return Headings(layout.kinds, numbers, ("",) * width, within, None, named, within)
    parts = [split_name(name) for name in layout.names]
    below = [unit or other for unit, other in zip(layout.units or within, within, strict=True)]
    return Headings(
        layout.kinds,
        layout.names,
        tuple(label for label, _ in parts),
        tuple(unit or other for (_, unit), other in zip(parts, below, strict=True)),
        layout.header_line,
        named,
        within,
    )


def column_called(name: str, headings: Headings) -> int:
    """The one column of that name or number. ReadError: column_unknown, ambiguous_columns."""
    found = headings.found(name)
    if len(found) == 1:
        return found[0]
    listed = ", ".join(headings.names)
    if not found:
        raise ReadError(
            "column_unknown",
            f"The file has no column {name!r}; its columns are: {listed}."[:400],
            headings.line,
            "Declare one of the headings, or the number of the column from 1.",
        )
    numbers = " or ".join(str(index + 1) for index in found)
    raise ReadError(
        "ambiguous_columns",
        f"Several columns are called {name!r}.",
        headings.line,
        f"Declare the column by its number: {numbers}.",
    )


def _plain(text: str) -> str:
    return "".join(text.split()).casefold()
