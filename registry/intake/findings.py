"""What intake itself notes about a run, beside what measuring finds: a closed list like that of traces."""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING, Protocol

from registry.waveform.findings import Entry
from registry.waveform.types import Severity

if TYPE_CHECKING:
    from registry.models import SerialSpan

LONGEST = 500  # characters of a message or a hint that are stored
CATALOGUE: Mapping[str, Entry] = MappingProxyType(
    {
        "revision_contradicts_span": Entry(
            "hold",
            "Said to be revision {asserted}, but serials {first} to {last} {was} as revision {revision}.",
            "Check the serial and the marks. If the pump truly is another build, tell a curator: "
            "the span may be wrong.",
        ),
        "revision_contradicts_unit": Entry(
            "hold",
            "Said to be revision {asserted}, but this unit was recorded as revision {before} before.",
            "Check the serial and the marks; withdraw the run that is wrong.",
        ),
        "serial_unread": Entry(
            "caution",
            "The serial fits none of the known forms for this model, so it has no place in any range.",
            "Check it against the label{instead}. If it is right, tell a curator its form.",
        ),
        "trace_seen_before": Entry(
            "hold",
            "The same trace was uploaded as run {run} with other provenance.",
            "If this one is right, have run {run} withdrawn by its clinic or a curator: this one then "
            "counts by itself. Else withdraw this one and pick the right file.",
        ),
        "unmeasured": Entry(
            "hold",
            "Cannot be measured under edition {edition}: {why}",
            "Upload the file again if it was lost or damaged. What it measured as before stays readable.",
        ),
        "calibration_later": Entry(
            "note",
            "The gauge's first known calibration is of {on}, after this run; no calibration was applied.",
            "Declare the calibration that was valid on the day of the run.",
        ),
    }
)
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


def note(code: str, **fields: object) -> Note:
    """A note of that code, filled in and no longer than is stored. KeyError for a code outside the list."""
    entry = CATALOGUE[code]
    message, hint = (text.format(**fields)[:LONGEST] for text in (entry.message, entry.hint))
    return Note(code, entry.severity, message, hint)


def contradicts_span(asserted: str, span: "SerialSpan") -> Note:
    """The revision said by the clinic is not the one its serial span is declared or was observed as."""
    was = "are declared" if span.basis == "declared" else "were observed"
    places = {"first": span.first, "last": span.last, "revision": span.revision.label}
    return note("revision_contradicts_span", asserted=asserted, was=was, **places)


def contradicts_unit(asserted: str, before: str) -> Note:
    """The same unit was said to be another revision before."""
    return note("revision_contradicts_unit", asserted=asserted, before=before)


def serial_unread(instead: str | None = None) -> Note:
    """The serial fits none of the model's schemes; `instead` is the one serial that may be meant."""
    return note("serial_unread", instead=f", which may bear {instead}" if instead else "")


def trace_seen(run: int) -> Note:
    """The same bytes came with another statement of where they are from."""
    return note("trace_seen_before", run=run)


def unmeasured(edition: int, why: str) -> Note:
    """The trace of a stored run cannot be measured under an edition."""
    return note("unmeasured", edition=edition, why=why)


def calibration_after_run(on: str) -> Note:
    """The gauge's first calibration is later than the run."""
    return note("calibration_later", on=on)
