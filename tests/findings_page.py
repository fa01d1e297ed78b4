"""The table of findings in DEVELOPERS.md, as the code has it; `python -m tests.findings_page` writes it."""

from registry.intake import findings as intake
from registry.waveform import findings as waveform
from registry.waveform.findings import Entry
from tests.page import Section

SECTION = Section("findings")


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
    return SECTION.around([*head, *lines])


if __name__ == "__main__":
    SECTION.write(table())
