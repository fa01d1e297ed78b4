"""An identification in plain words."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from registry.answers.identifying.pieces import Builds, Piece
from registry.answers.wording import figure, in_a_hundred
from registry.statistics.posterior import Band, Verdict, Weight, weigh
from registry.statistics.robust import Floats

CANNOT_TELL = "cannot tell"
NONE_FITS = "none of the listed revisions"
NOTHING = "says nothing"


def called(builds: Builds, place: int) -> str:
    """A hypothesis in words."""
    return f"revision {builds.labels[place]}" if place < len(builds.revisions) else "a build not listed"


def told_verdict(builds: Builds, verdict: Verdict) -> str:
    """`revision X` or `none of the listed revisions`, either also with `probably`; else `cannot tell`."""
    if verdict.place is None:
        return CANNOT_TELL
    is_listed = verdict.place < len(builds.revisions)
    name = called(builds, verdict.place) if is_listed else NONE_FITS
    return name if verdict.is_sure else f"probably {name}"


def piece_document(builds: Builds, piece: Piece, chances: Floats) -> dict[str, Any]:
    """One piece of evidence with its weight in words and, for programs, as a ratio of likelihoods."""
    weight = None if piece.logs is None else weigh(piece.logs, chances)
    favours, over = (None, None) if weight is None else _sides(builds, weight)
    return {
        "kind": piece.kind,
        "said": piece.said,
        "says": piece.says,
        "weight": NOTHING if weight is None else in_words(builds, weight),
        "favours": favours,
        "over": over,
        "ratio": None if weight is None else figure(weight.ratio),
        "key": piece.more.get("key"),
        "value": piece.more.get("value"),
        "state": piece.more.get("state"),
        "setting": piece.more.get("setting"),
        "measurements": piece.more.get("measurements") or {},
    }


def in_words(builds: Builds, weight: Weight) -> str:
    """As in "speaks strongly for revision B over revision A"."""
    if weight.band is Band.LITTLE:
        return weight.band.value
    return f"{weight.band.value} for {called(builds, weight.favours)} over {called(builds, weight.over)}"


def _sides(builds: Builds, weight: Weight) -> tuple[str | None, str | None]:
    labels = [*builds.labels, None]
    return (None, None) if weight.band is Band.LITTLE else (labels[weight.favours], labels[weight.over])


def chances_document(builds: Builds, chances: Floats) -> list[dict[str, Any]]:
    """Each revision with its probability, the likeliest first; null stands for none of the listed ones."""
    rows = [
        {"revision": label, "probability": round(float(chance), 4)}
        for label, chance in zip([*builds.labels, None], chances, strict=True)
    ]
    return sorted(rows, key=lambda row: -row["probability"])


def says_identified(
    builds: Builds, verdict: Verdict, chances: Floats, pieces: Sequence[Piece], question: str | None
) -> str:
    """The whole answer in one line."""
    about = builds.model.name
    if verdict.place is None:
        return f"{about}: {CANNOT_TELL}{_why(builds, chances, pieces)}{_then(question)}"
    odds = in_a_hundred(float(chances[verdict.place]))
    if verdict.place == len(builds.revisions):
        probably = "" if verdict.is_sure else "probably "
        return (
            f"{about}: {probably}none of the listed revisions fits ({odds}): another build, a unit that is "
            f"off, or a reading that is.{_then(question)}"
        )
    word = told_verdict(builds, verdict)
    return f"{about}: {word} ({odds}).{_then(question)}"


def _why(builds: Builds, chances: Floats, pieces: Sequence[Piece]) -> str:
    if not any(piece.logs is not None for piece in pieces):
        return f"; nothing {'that was said tells its builds apart' if pieces else 'was said of it yet'}."
    top = int(np.argmax(chances))
    leading = [
        f"{called(builds, int(place))} {in_a_hundred(float(chances[place]))}"
        for place in np.argsort(-chances, kind="stable")[:2]
    ]
    # Likely enough to be named, and yet not named: by what was measured on too few.
    is_thin = float(chances[top]) >= 0.8 and any(piece.is_thin_for(top) for piece in pieces)
    thin = "; too few units or clinics measured this build" if is_thin else ""
    return f": {', '.join(leading)}{thin}."


def _then(question: str | None) -> str:
    return f" Next: {question}" if question else ""
