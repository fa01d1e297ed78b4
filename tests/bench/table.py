"""The benchmark table."""

from dataclasses import dataclass

from rich.console import Console
from rich.table import Table


@dataclass(frozen=True)
class Row:
    """One figure beside its peer's; `ratio` is ours over the peer's, `target` what is asked of it."""

    what: str
    ours: str
    peer: str
    peers: str
    ratio: float
    target: str


def show(rows: list[Row]) -> None:
    """Print the table."""
    table = Table(title="ratios measured in one run, in turns with the peer")
    for heading in ("figure", "ours", "peer", "peer's", "ratio", "target"):
        table.add_column(heading, justify="left" if heading in ("figure", "peer") else "right")
    for row in rows:
        table.add_row(row.what, row.ours, row.peer, row.peers, f"{row.ratio:.2f}", row.target)
    Console().print(table)
