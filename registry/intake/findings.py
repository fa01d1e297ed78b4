"""What intake itself notes about a run, beside what measuring finds. One closed table."""

from dataclasses import dataclass
from typing import Protocol

from registry.models import SerialSpan
from registry.waveform.types import Severity

# The codes that depend on what else is stored, and so may change when that does.
INTAKE_CODES = (
    "revision_contradicts_span",
    "revision_contradicts_unit",
    "serial_unread",
    "trace_seen_before",
)


class Noted(Protocol):
    """A finding, of the measuring or of intake."""

    @property
    def code(self) -> str: ...
    @property
    def severity(self) -> str: ...
    @property
    def message(self) -> str: ...
    @property
    def hint(self) -> str: ...
    @property
    def at_s(self) -> float | None: ...


@dataclass(frozen=True)
class Note:
    """A finding ready to be stored: `severity` is note, caution or hold, which keeps a run out of answers."""

    code: str
    severity: Severity
    message: str
    hint: str
    at_s: float | None = None


def contradicts_span(asserted: str, span: SerialSpan) -> Note:
    """The revision said by the clinic is not the one its serial span is declared or was observed as."""
    was = "are declared" if span.basis == "declared" else "were observed"
    return Note(
        "revision_contradicts_span",
        "hold",
        f"Said to be revision {asserted}, but serials {span.first} to {span.last} {was} "
        f"as revision {span.revision.label}.",
        "Check the serial and the marks. If the pump truly is another build, tell a curator: "
        "the span may be wrong.",
    )


def contradicts_unit(asserted: str, before: str) -> Note:
    """The same unit was said to be another revision before."""
    return Note(
        "revision_contradicts_unit",
        "hold",
        f"Said to be revision {asserted}, but this unit was recorded as revision {before} before.",
        "Check the serial and the marks; withdraw the run that is wrong.",
    )


def serial_unread() -> Note:
    """The serial fits none of the model's schemes."""
    return Note(
        "serial_unread",
        "caution",
        "The serial fits none of the known forms for this model, so it has no place in any range.",
        "Check it against the label. If it is right, tell a curator its form.",
    )


def trace_seen(run: int) -> Note:
    """The same bytes came with another statement of where they are from."""
    return Note(
        "trace_seen_before",
        "hold",
        f"The same trace was uploaded as run {run} with other provenance.",
        f"If this one is right, have run {run} withdrawn by its clinic or a curator: this one then counts by "
        "itself. Else withdraw this one and pick the right file.",
    )


def unmeasured(edition: int, why: str) -> Note:
    """The trace of a stored run cannot be measured under an edition."""
    return Note(
        "unmeasured",
        "hold",
        f"Cannot be measured under edition {edition}: {why}"[:500],
        "What it measured as before stays readable under the edition of that time.",
    )


def calibration_after_run(on: str) -> Note:
    """The gauge's first calibration is later than the run."""
    return Note(
        "calibration_later",
        "note",
        f"The gauge's first known calibration is of {on}, after this run; no calibration was applied.",
        "Declare the calibration that was valid on the day of the run.",
    )
