"""Distributions in one line of plain words."""

import json
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from registry.answers.distributions.cell_parts import Crowd
from registry.answers.distributions.figures import Told
from registry.answers.wording import counted, dated, in_words, rounded_within, telling

# More centres than this are read in a table and not in a sentence.
_TOLD = 6


def told_distributions(model: str, cells: Sequence[Told], crowd: Crowd, moment: datetime | None) -> str:
    """Return what the cells of a distributions document say; `crowd` knows who read in them."""
    return dated(f"{_says(model, cells, crowd)}.", moment)


def told_nothing(model: str, instead: str, moment: datetime | None) -> str:
    """Return what a document without cells says; `instead` is what there is in their place, if anything."""
    return dated(f"{model}: no accepted runs match; {instead or 'nothing is known here yet'}.", moment)


def _says(model: str, cells: Sequence[Told], crowd: Crowd) -> str:
    if len(cells) <= _TOLD:
        read = [json.loads(b"{" + one.figures + b"}") for one in cells]
        if len({_asked(cell) for cell in read}) == 1:
            return f"{model}, {_asked(read[0])}: {_centres(read)}"
    thin = sum(one.cell.thin for one in cells)
    return _many(model, len(cells), thin, *crowd.count(one.cell.readers for one in cells))


def told_many(model: str, cells: int, thin: int, units: int, clinics: int) -> str:
    """Return what more cells say than fit a sentence: how many, how many thin, and what they rest on."""
    return f"{_many(model, cells, thin, units, clinics)}."


def _many(model: str, cells: int, thin: int, units: int, clinics: int) -> str:
    measured = f"{counted(units, 'unit')} measured in {counted(clinics, 'clinic')}"
    carried = "none of them thin" if not thin else f"{thin} of them thin: too few units or clinics"
    return f"{model}: {counted(cells, 'value')} over builds, settings and metrics, from {measured}; {carried}"


def _asked(cell: Mapping[str, Any]) -> str:
    """Setting and metric in words: "expression 3, peak vacuum"."""
    setting = " ".join(filter(None, (cell["mode"], cell["programme"], cell["level"])))
    return f"{setting}, {in_words(cell['metric'])}"


def _centres(cells: list[dict[str, Any]]) -> str:
    """The centre of each cell with what it rests on; what parts cells besides builds is told too."""
    around = ("rig", "power", "elevation", "side")
    parting = [name for name in around if len({cell[name] for cell in cells}) > 1]
    rigs = telling(cell["rig"] for cell in cells)
    told = []
    for place, cell in enumerate(cells):
        build = f"revision {cell['revision']}" if cell["revision"] else "unknown revision"
        shown = {**cell, "rig": rigs[cell["rig"]]}
        where = "".join(f", {shown[name] or f'{name} not said'}" for name in parting)
        unit = "" if place or cell["unit"] == "1" else f" {cell['unit']}"
        rests = f"{counted(cell['units'], 'unit')}, {counted(cell['clinics'], 'clinic')}"
        thin = "; thin" if cell["state"] == "thin" else ""
        centre = rounded_within(cell["centre"], cell["low"], cell["high"])
        told.append(f"{build}{where} {centre}{unit} ({rests}{thin})")
    return "; ".join(told) if parting else ", ".join(told)
