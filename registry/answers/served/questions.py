"""The questions whose answers are kept: how each is written down, answered, and which changes concern it."""

import hashlib
import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from registry.answers.claiming.claims import answer_claims
from registry.answers.comparing.comparisons import answer_comparison
from registry.answers.comparing.swaps import answer_swap
from registry.answers.distributions.answer import write_distributions
from registry.answers.ground import NO_GROUND, Ground
from registry.answers.keeping.program import code_mark
from registry.answers.matching.settings import write_settings
from registry.models import Clinic
from registry.models.kept import EVERYTHING, SITTINGS


@dataclass(frozen=True)
class Kind:
    """How a kind of question is answered, and what its answers rest on besides what rests on everything.

    `models` are the parameters that name pump models; without the first of them every pump is asked about.
    `own` says that the clinic that asks sees itself by name, `sittings` that elevations of sittings count.
    """

    answer: Callable[..., dict[str, Any]]
    models: tuple[str, ...] = ("model",)
    own: bool = False
    sittings: bool = False


KINDS: Mapping[str, Kind] = {
    "claims": Kind(answer_claims, sittings=True),
    "comparisons": Kind(answer_comparison, sittings=True),
    "distributions": Kind(write_distributions, own=True),
    "part-swaps": Kind(answer_swap, sittings=True),
    "settings-matches": Kind(write_settings, models=("model", "like_model")),
}


@dataclass(frozen=True)
class State:
    """What an answer rests on: its scopes, None for all there are, and how often they changed until now."""

    scopes: list[int] | None
    changes: int


@dataclass(frozen=True)
class Question:
    """One question as it was asked; `clinic` is who asks, where that makes a difference, else None."""

    kind: str
    asked: Mapping[str, Any]
    clinic: int | None = None
    written: str = field(init=False)

    def __post_init__(self) -> None:
        """Write it down, the same for the same question."""
        asked = {name: _plain(value) for name, value in self.asked.items() if value is not None}
        text = json.dumps([self.kind, asked, self.clinic], sort_keys=True)
        object.__setattr__(self, "written", text)

    @classmethod
    def of(cls, kind: str, asked: Mapping[str, Any], clinic: Clinic | None) -> "Question":
        """The question, whoever asks it where that makes no difference."""
        return cls(kind, asked, clinic.pk if clinic and KINDS[kind].own else None)

    @classmethod
    def read(cls, written: str) -> "Question":
        """The question that was written down so."""
        kind, asked, clinic = json.loads(written)
        if "as_of" in asked:
            asked["as_of"] = datetime.fromisoformat(asked["as_of"])
        return cls(kind, asked, clinic)

    @property
    def digest(self) -> bytes:
        """What its answer by this program is kept under."""
        return hashlib.sha256(f"{code_mark()}\n{self.written}".encode()).digest()

    @property
    def about(self) -> list[str] | None:
        """The names of the pump models it is about, each once; None where it is about all there are."""
        return self.named if str(self.asked.get(KINDS[self.kind].models[0]) or "").strip() else None

    @property
    def named(self) -> list[str]:
        """The names of the pump models that it names, each once."""
        names = KINDS[self.kind].models
        return sorted({" ".join(str(self.asked.get(name) or "").split()) for name in names} - {""})

    @property
    def always(self) -> list[int]:
        """The scopes of changes that concern it whatever it is about."""
        return [EVERYTHING, *([SITTINGS] if KINDS[self.kind].sittings else [])]

    def answer(self, ground: Ground = NO_GROUND) -> dict[str, Any]:
        """Work the answer out, given what is known already. Raises what the question's function raises."""
        kind = KINDS[self.kind]
        who = {"clinic": self._who()} if kind.own else {}
        return kind.answer(**self.asked, **who, ground=ground)

    def _who(self) -> Clinic | None:
        return None if self.clinic is None else Clinic.objects.get(pk=self.clinic)


def _plain(value: Any) -> Any:
    return value.isoformat() if isinstance(value, datetime) else value
