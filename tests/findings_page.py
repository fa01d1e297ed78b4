"""The table of findings in DEVELOPERS.md, as the code has it; `python -m tests.findings_page` writes it."""

from pathlib import Path

from registry.intake import findings as intake
from registry.waveform import findings as waveform
from registry.waveform.findings import Entry

PAGE = Path(__file__).parent.parent / "DEVELOPERS.md"
BEGIN = "<!-- findings: written by python -m tests.findings_page -->"
END = "<!-- end of findings -->"


def rows() -> list[tuple[str, Entry]]:
    """(code, entry) of every finding there is: of the trace first, then of intake."""
    return [*waveform.CATALOGUE.items(), *intake.CATALOGUE.items()]


def table() -> str:
    """The section between the marks."""
    head = ["| code | severity | holds | message | what to do |", "| --- | --- | --- | --- | --- |"]
    lines = [
        f"| `{code}` | {entry.severity} | {'yes' if entry.severity == 'hold' else ''} "
        f"| {entry.message} | {entry.hint} |"
        for code, entry in rows()
    ]
    return "\n".join([BEGIN, "", *head, *lines, "", END])


def section(page: str) -> str:
    """What stands between the marks in a page, marks included. ValueError where a mark is missing."""
    return page[page.index(BEGIN) : page.index(END) + len(END)]


def main() -> None:
    """Write the table into the page."""
    page = PAGE.read_text()
    PAGE.write_text(page.replace(section(page), table()))


if __name__ == "__main__":
    main()
