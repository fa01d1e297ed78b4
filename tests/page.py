"""Sections of DEVELOPERS.md that hold a table as the code has it, between two marks."""

from dataclasses import dataclass
from pathlib import Path

PAGE = Path(__file__).parent.parent / "DEVELOPERS.md"


@dataclass(frozen=True)
class Section:
    """The section of that name; `python -m tests.NAME_page` writes it."""

    name: str

    def around(self, rows: list[str]) -> str:
        """The section with these rows, marks included."""
        return "\n".join([self._begin, "", *rows, "", self._end])

    def of(self, page: str) -> str:
        """What stands between the marks in a page, marks included. ValueError where a mark is missing."""
        return page[page.index(self._begin) : page.index(self._end) + len(self._end)]

    def write(self, table: str) -> None:
        """Put a table in the place of the section."""
        page = PAGE.read_text()
        PAGE.write_text(page.replace(self.of(page), table))

    @property
    def _begin(self) -> str:
        return f"<!-- {self.name}: written by python -m tests.{self.name}_page -->"

    @property
    def _end(self) -> str:
        return f"<!-- end of {self.name} -->"
