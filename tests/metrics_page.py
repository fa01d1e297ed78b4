"""The table of metrics in DEVELOPERS.md, as the code has it; `python -m tests.metrics_page` writes it."""

from pathlib import Path

from registry.waveform.editions import edition_of

PAGE = Path(__file__).parent.parent / "DEVELOPERS.md"
BEGIN = "<!-- metrics: written by python -m tests.metrics_page -->"
END = "<!-- end of metrics -->"


def table(edition: int = 1) -> str:
    """The section between the marks: name, unit and definition of the edition's metrics in its order."""
    head = ["| metric | unit | definition |", "| --- | --- | --- |"]
    metrics = edition_of(edition).metrics.values()
    lines = [f"| `{metric.name}` | {metric.unit} | {metric.definition} |" for metric in metrics]
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
