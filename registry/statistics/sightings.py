"""What is known of serials: stored spans that were said, units that were seen, and how they weigh up."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from functools import cached_property

_NAMED = 3


class Basis(StrEnum):
    """Why a stretch is taken to be of its revision."""

    DECLARED = "declared"
    OBSERVED = "observed"
    INFERRED = "inferred"
    UNKNOWN = "unknown"


@dataclass(frozen=True)
class Said:
    """A stored span, both ends included; `basis` is declared or observed, `source` says who said it."""

    first: int
    last: int
    revision: str
    basis: Basis
    source: str


@dataclass(frozen=True)
class Seen:
    """One unit with accepted runs. A voice is a clinic and the revision it took the unit for, None unsaid.

    `first` and `last` are the days of its first and last run, None where they were not asked for.
    """

    key: int
    serial: str
    voices: frozenset[tuple[str, str | None]]
    first: date | None = None
    last: date | None = None

    @cached_property
    def words(self) -> frozenset[str]:
        """Every revision some clinic took this unit for."""
        return frozenset(word for _, word in self.voices if word is not None)

    @cached_property
    def word(self) -> str | None:
        """What most clinics took this unit for; None when silent or tied."""
        return most_said(word for _, word in self.voices if word is not None)

    @property
    def is_silent(self) -> bool:
        """Measured, but nobody said which build it is."""
        return not self.words


def most_said(words: Iterable[str]) -> str | None:
    """The word said most often, None when there is none or the first two tie."""
    ranked = Counter(words).most_common(2)
    if not ranked or (len(ranked) == 2 and ranked[0][1] == ranked[1][1]):
        return None
    return ranked[0][0]


@dataclass(frozen=True)
class Point:
    """The units at one place; two spellings of one number can make them more than one."""

    key: int
    units: tuple[Seen, ...]

    @cached_property
    def word(self) -> str | None:
        """What most voices here took it for; None when silent or tied."""
        return most_said(word for unit in self.units for _, word in unit.voices if word is not None)

    @cached_property
    def words(self) -> frozenset[str]:
        """Every revision named here."""
        return frozenset().union(*(unit.words for unit in self.units))

    @property
    def is_disputed(self) -> bool:
        """More than one revision was named here."""
        return len(self.words) > 1


def points_of(seen: Iterable[Seen]) -> list[Point]:
    """Units by place, in order."""
    places: dict[int, list[Seen]] = defaultdict(list)
    for unit in seen:
        places[unit.key].append(unit)
    return [Point(key, tuple(places[key])) for key in sorted(places)]


@dataclass(frozen=True)
class Voices:
    """How many voices stand for a revision and how many against it."""

    supporting: int
    contradicting: int

    @property
    def confidence(self) -> float:
        """Laplace's rule of succession: (s + 1) / (s + c + 2), so one voice gives 2/3 and none 1/2.

        A rule of thumb for how far to trust the label, not a frequency: voices are taken as independent.
        """
        return (self.supporting + 1) / (self.supporting + self.contradicting + 2)

    @staticmethod
    def over(
        points: Iterable[Point], revision: str | None, *, spans_for: int, spans_against: int
    ) -> "Voices":
        """Count each clinic's word on each unit once and each stored span once."""
        words = [word for point in points for unit in point.units for _, word in unit.voices]
        supporting = sum(word == revision for word in words if word is not None)
        contradicting = sum(word != revision for word in words if word is not None)
        return Voices(supporting + spans_for, contradicting + spans_against)


@dataclass(frozen=True)
class Conflict:
    """A source that says another revision than the answer: which, on what basis, who, how many units."""

    revision: str
    basis: Basis
    source: str
    units: int
    says: str

    @staticmethod
    def of_units(revision: str, units: Sequence[Seen]) -> "Conflict":
        """Units some clinic took for `revision`."""
        clinics = sorted({clinic for unit in units for clinic, word in unit.voices if word == revision})
        who = f"clinic{'s' if len(clinics) > 1 else ''} {_listed(clinics)}"
        verb = "was" if len(units) == 1 else "were"
        says = f"{_listed([unit.serial for unit in units])} {verb} seen as revision {revision} by {who}"
        return Conflict(revision, Basis.OBSERVED, who, len(units), says)

    @staticmethod
    def of_spans(spans: Iterable[Said]) -> list["Conflict"]:
        """Stored spans that say otherwise, those of one revision and basis together."""
        sources: dict[tuple[str, Basis], dict[str, None]] = defaultdict(dict)
        for span in spans:
            sources[span.revision, span.basis][span.source or "a source not named"] = None
        return [
            Conflict(
                revision,
                basis,
                _listed(list(names)),
                0,
                f"{basis} as revision {revision} by {_listed(list(names))}",
            )
            for (revision, basis), names in sources.items()
        ]


def _listed(names: Sequence[str]) -> str:
    """The first few by name and how many more there are, so that no answer grows with what it tells of."""
    more = f" and {len(names) - _NAMED} more" if len(names) > _NAMED else ""
    return ", ".join(names[:_NAMED]) + more
