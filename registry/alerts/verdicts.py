"""What a rule has to say about one subject, before anything is stored."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from typing import Any


class Standing(StrEnum):
    """Off raises an alert, clear settles it, and between the two it stays as it was: rules do not flicker.

    Unjudged is for subjects below a floor: nothing is raised, what was raised ends, as nothing carries it any
    more, and it is never shown as fine.
    """

    OFF = "off"
    BETWEEN = "between"
    CLEAR = "clear"
    UNJUDGED = "unjudged"


@dataclass(frozen=True)
class Rule:
    """A rule's name, its version (raised whenever it may judge differently) and the kind of its subjects.

    `severity` is note, caution or urgent; `advice` is what to do about an alert; `limits` are the figures it
    goes by, floors among them, as everybody may read them. `shadow` keeps a version from telling anybody.
    """

    name: str
    version: int
    subject_kind: str
    severity: str = "caution"
    shadow: bool = False
    advice: str = ""
    limits: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Verdict:
    """One subject's standing under one rule.

    `size` is the effect, signed, relative (0.08 is 8 %) or in spreads. `p` is the chance of as much by chance
    for this one subject, before any correction; None where there is none. OFF says that the effect is beyond
    what matters and the floors are met; whether chance explains it is decided over all subjects at once.
    `pieces` is how many independent pieces of evidence (units, mostly) p rests on: more of them come between
    two looks, and the scan charges for looking again; 0 where further looks draw nothing anew, or where
    `growth` says how much there is to come: see `registry.statistics.discoveries.looked_at_again`.
    `evidence` is kept as it is now, `says` is one line, `why` holds the figures against the limits in words,
    `cautions` what is to be borne in mind beside the cautions of every alert. `lacks` says what an UNJUDGED
    subject is short of. `keys` are database keys of what it is about: unit, gauge, clinic, revision,
    pump_model. `since` is when the effect began, as far as it shows. `runs` is the number of runs it rests
    on: more of them and still off confirms a suspicion. `confirmed` where two independent halves of the
    evidence say so each on its own.
    """

    subject: str
    standing: Standing
    size: float
    p: float | None
    says: str
    evidence: dict[str, Any] = field(default_factory=dict)
    lacks: str = ""
    keys: Mapping[str, int] = field(default_factory=dict)
    since: datetime | None = None
    runs: int = 0
    pieces: int = 0
    growth: float = 0.0
    confirmed: bool = False
    cautions: tuple[str, ...] = ()
    why: tuple[str, ...] = ()

    @property
    def confidence(self) -> float:
        """One less the chance, before the scan has corrected it; 0 where there is none."""
        return 0.0 if self.p is None else round(1 - min(self.p, 1.0), 4)


def standing(*, is_off: bool, is_clear: bool, is_judged: bool = True) -> Standing:
    """The standing that follows from a rule's floors and its two limits."""
    if not is_judged:
        return Standing.UNJUDGED
    if is_off:
        return Standing.OFF
    return Standing.CLEAR if is_clear else Standing.BETWEEN


def percent(relative: float) -> float:
    """A relative figure in per cent to one decimal."""
    return round(100 * relative, 1)


def high_or_low(relative: float) -> str:
    """A relative shift in words: "8.1 % high"."""
    return f"{abs(percent(relative)):g} % {'high' if relative > 0 else 'low'}"
