"""An answer as a table."""

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from registry.answers.exports.columns import Column, Row, count, text
from registry.answers.exports.table import Filled

Document = Mapping[str, Any]
Asked = dict[str, Any]

MODEL = text("model", "name the pump is sold under", whole=True)
EDITION = count("edition", "edition of the metric definitions", whole=True)
SETTING = (
    text("mode", "stimulation or expression"),
    text("programme", "the pump's programme; empty when it has none"),
    text("level", "level the pump was set to"),
    text("side", "side of a double pump: single, left or right"),
    text("rig", "protector / valve / tubing / flange / load between pump and gauge"),
    text("power", "mains or battery; empty when not said"),
    text("elevation", "band of elevation; empty when not said"),
    text("metric", "what was measured"),
    text("unit", "unit of the row's figures"),
)


@dataclass(frozen=True)
class AnswerTable:
    """An answer whose document holds its rows in a list under `rows`.

    `ask` takes the question and returns the document. Where a document may be cut for its length, `follow`
    gives the question for the rest, or None at the end. `left_out` names fields of a row that no cell holds.
    `spread` makes several rows of one that holds a table of its own.
    """

    name: str
    description: str
    ask: Callable[..., Document]
    rows: str
    cautions: tuple[str, ...]
    columns: tuple[Column, ...]
    follow: Callable[[Document, Asked], Asked | None] = lambda document, asked: None  # noqa: ARG005
    left_out: frozenset[str] = frozenset()
    spread: Callable[[Document], Iterable[Document]] = lambda row: (row,)

    def fill(self, **asked: Any) -> Filled:
        """Return the answer's rows in the answer's own order. Raises what the answer raises."""
        document = self.ask(**asked)
        return Filled(
            model=document.get("model") or "",
            edition=document["edition"],
            as_of=datetime.fromisoformat(document["as_of"]),
            chunks=self._chunks(document, asked),
        )

    def _chunks(self, document: Document, asked: Asked) -> Iterator[list[Row]]:
        following: Asked | None = asked
        while following is not None:
            parts = (part for row in document[self.rows] for part in self.spread(row))
            rows = [tuple(column.cell(document, part) for column in self.columns) for part in parts]
            if rows:
                yield rows
            following = self.follow(document, following)
            document = self.ask(**following) if following is not None else document
