"""Tables of what a trial found, with what it was to find."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

ENOUGH = 1000


@dataclass(frozen=True)
class Check:
    """A share that is to lie from `low` to `high`, of `communities` of a kind.

    Fewer communities than 1,000 of each kind are no trial of the promise: then three standard errors of the
    count are allowed for on either side.
    """

    what: str
    share: float
    low: float = 0.0
    high: float = 1.0
    communities: int = ENOUGH

    @property
    def is_held(self) -> bool:
        """Whether it does."""
        return self.low - self._slack(self.low) <= self.share <= self.high + self._slack(self.high)

    def _slack(self, bound: float) -> float:
        return 0.0 if self.communities >= ENOUGH else 3 * (bound * (1 - bound) / self.communities) ** 0.5

    @property
    def line(self) -> str:
        """In one line."""
        verdict = "as promised" if self.is_held else "NOT AS PROMISED"
        return f"{self.what}: {percent(self.share)} ({percent(self.low)} to {percent(self.high)}) {verdict}"


@dataclass(frozen=True)
class Section:
    """One question's table and checks; `notes` say what the reader has to know about it."""

    title: str
    columns: Sequence[str]
    rows: Sequence[Sequence[str]]
    checks: Sequence[Check] = field(default_factory=tuple)
    notes: Sequence[str] = field(default_factory=tuple)

    def of(self, communities: int) -> "Section":
        """The same with its checks made on so many communities of a kind, or as few as they say."""
        made = [replace(check, communities=min(check.communities, communities)) for check in self.checks]
        return replace(self, checks=made)

    def text(self) -> str:
        """The section as it is printed."""
        widths = [max(map(len, column)) for column in zip(self.columns, *self.rows, strict=True)]
        lines = [_line(row, widths) for row in (self.columns, *self.rows)]
        rule = "  ".join("-" * width for width in widths)
        told = [*self.notes, *(check.line for check in self.checks)]
        return "\n".join([self.title, "", lines[0], rule, *lines[1:], "", *told, ""])


def percent(share: float) -> str:
    """A share in per cent, to one decimal."""
    return f"{100 * share:.1f} %"


def _line(row: Sequence[str], widths: Sequence[int]) -> str:
    return "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
