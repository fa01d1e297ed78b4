"""What can go wrong in the registry's own words: stable codes, no transport.

`api.problems` maps each code to a status; programs branch on the code, people read the detail and the hint.
"""

from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True)
class Fault:
    """One thing wrong with the input: where (`field` or `line`) and what."""

    message: str
    field: str | None = None
    line: int | None = None

    def as_dict(self) -> dict[str, Any]:
        place = {"field": self.field, "line": self.line}
        return {**{k: v for k, v in place.items() if v is not None}, "message": self.message}


@dataclass
class DomainError(Exception):
    """A refusal. `code` is stable; `hint` says what to do; `extra` joins the problem document."""

    detail: str
    hint: str = ""
    faults: tuple[Fault, ...] = ()
    extra: dict[str, Any] = field(default_factory=dict)
    code = "invalid"
    title = "The input is not valid"

    def __str__(self) -> str:
        return self.detail


class Invalid(DomainError):
    """Values that cannot be taken as they are."""


class UnknownProvenanceKey(DomainError):
    """A provenance key outside the closed list; nothing about a client may enter."""

    code = "unknown_provenance_key"
    title = "The provenance holds a key that is not known"


class UnknownPumpModel(DomainError):
    """No pump model of that name; `extra["nearest"]` lists what it may have meant."""

    code = "unknown_pump_model"
    title = "No pump model of that name"


class UnreadableTrace(DomainError):
    """The trace cannot be read at all; `faults` name the line."""

    code = "unreadable_trace"
    title = "The trace cannot be read"


class SideNeeded(DomainError):
    """The trace holds both sides of a double pump, and nobody said which one is meant."""

    code = "side_needed"
    title = "Which side is meant?"


class TooLarge(DomainError):
    """Larger than the registry takes."""

    code = "too_large"
    title = "Too large"


class TooManyRequests(DomainError):
    """More at once than the registry serves; it passes by itself."""

    code = "too_many_requests"
    title = "Too many requests"


class NotFound(DomainError):
    """Nothing stored under that name or number."""

    code = "not_found"
    title = "Nothing is stored there"


class UnknownEdition(DomainError):
    """No edition of that number; `extra["editions"]` lists those there are."""

    code = "unknown_edition"
    title = "No edition of that number"


class NotMeasured(DomainError):
    """The run is stored, and nothing of it is kept under that edition."""

    code = "not_measured"
    title = "Not measured under that edition"


class NotPermitted(DomainError):
    """Known who asks; they may not."""

    code = "not_permitted"
    title = "Not permitted"


class Conflict(DomainError):
    """What is stored stands against what was asked."""

    code = "conflict"
    title = "Conflicts with what is stored"


class ProposalStale(Conflict):
    """The catalogue changed since a correction was proposed, and it applies no more."""

    code = "proposal_stale"
    title = "The proposal does not apply any more"


class SpansOverlap(Conflict):
    """Two declared serial spans of one model would overlap."""

    code = "spans_overlap"
    title = "Two declared serial spans overlap"


def unmeant(field: str, why: str, hint: str) -> Invalid:
    """The refusal of a word that cannot be meant."""
    return Invalid(f"{field}: {why}", hint=hint, faults=(Fault(why, field=field),))
