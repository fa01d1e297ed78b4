"""The table of metrics in DEVELOPERS.md, as the code has it; `python -m tests.metrics_page` writes it."""

from registry.waveform.editions import edition_of
from tests.page import Section

SECTION = Section("metrics")


def table(edition: int = 1) -> str:
    """The section between the marks: name, unit and definition of the edition's metrics in its order."""
    head = ["| metric | unit | definition |", "| --- | --- | --- |"]
    metrics = edition_of(edition).metrics.values()
    lines = [f"| `{metric.name}` | {metric.unit} | {metric.definition} |" for metric in metrics]
    return SECTION.around([*head, *lines])


if __name__ == "__main__":
    SECTION.write(table())
