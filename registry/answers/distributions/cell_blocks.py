"""Cells of all metrics at one setting of one build, compressed together as they stand in answers."""

import json
from collections.abc import Iterable, Sequence
from itertools import groupby
from typing import NamedTuple

from registry.answers.distributions.figures import Cell, Told
from registry.answers.keeping.deflated import Deflated, deflated
from registry.answers.keeping.sections import packed, unpacked
from registry.answers.keeping.written import written


class Corner(NamedTuple):
    """A place in which a block has cells; `label` is the rig's."""

    revision: int | None
    mode: str
    programme: str
    level: str
    label: str
    power: str
    elevation: str


class Block(NamedTuple):
    """Cells without influence, in order. `runs` are those of each metric, `readers` the marks of all.

    `carried` tells whether one clinic or two carry any of them.
    """

    revision: int | None
    corners: list[Corner]
    cells: int
    thin: int
    carried: bool
    runs: dict[str, int]
    readers: list[str]
    piece: Deflated


def blocks_packed(told: Iterable[Told]) -> bytes:
    """One body of all cells of a pump model."""
    ranked = sorted(told, key=lambda one: one.cell.order)
    blocks = [_block(list(cells)) for _, cells in groupby(ranked, key=lambda one: one.cell.order[:4])]
    index = [(*block[:-1], len(block.piece.blocks), block.piece[1:]) for block in blocks]
    return packed([written(index), b"".join(block.piece.blocks for block in blocks)])


def blocks_read(body: bytes) -> list[Block]:
    """What was packed, in order."""
    index, pieces = unpacked(body)
    found, place = [], 0
    for *figures, length, of_piece in json.loads(index.text):
        revision, corners, cells, thin, carried, runs, readers = figures
        piece = Deflated(pieces.text[place : place + length], *of_piece)
        within = [Corner(*corner) for corner in corners]
        found.append(Block(revision, within, cells, thin, carried, runs, readers, piece))
        place += length
    return found


def _block(told: Sequence[Told]) -> Block:
    cells = [one.cell for one in told]
    runs: dict[str, int] = {}
    for cell in cells:
        runs[cell.metric] = runs.get(cell.metric, 0) + cell.runs
    return Block(
        revision=cells[0].revision,
        corners=sorted({_corner(cell) for cell in cells}, key=str),
        cells=len(cells),
        thin=sum(cell.thin for cell in cells),
        carried=any(cell.carried for cell in cells),
        runs=runs,
        readers=sorted({cell.readers for cell in cells}),
        piece=deflated(b",".join(one.text(detailed=False, own=None) for one in told)),
    )


def _corner(cell: Cell) -> Corner:
    return Corner(
        cell.revision, cell.mode, cell.programme, cell.level, cell.label, cell.power, cell.elevation
    )
