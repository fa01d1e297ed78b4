"""What a mark typed in plain words means, among the marks and values the catalogue knows of a pump model."""

import difflib
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

_CLOSE = 0.78
_UNKNOWN = frozenset(
    {"", "?", "-", "unknown", "dont know", "do not know", "not sure", "no idea", "cant tell"}
)
_DENIALS = frozenset({"not", "no", "isnt", "neither", "never", "without", "non"})
_FILLERS = frozenset({"a", "an", "the", "is", "it", "its", "of", "has", "looks", "very", "rather", "quite"})
# Words people use for one another; asked only when nothing is spelled alike.
_ALIKE = (
    frozenset({"amber", "yellow", "yellowish", "honey", "gold", "golden"}),
    frozenset({"white", "whitish", "cream", "ivory"}),
    frozenset({"grey", "gray", "greyish", "grayish", "silver"}),
    frozenset({"clear", "transparent", "colourless", "colorless"}),
    frozenset({"domed", "dome", "bulging", "convex", "rounded"}),
    frozenset({"flat", "even", "level", "plane"}),
    frozenset({"round", "circular"}),
    frozenset({"square", "rectangular", "angular"}),
)


@dataclass(frozen=True)
class Understood:
    """The mark and the value meant; `value` None when that was not understood, `key` None when nothing was.

    `says` tells what was understood, or what could have been said.
    """

    key: str | None
    value: str | None
    says: str


def understand(text: str, marks: Mapping[str, Sequence[str]]) -> Understood:
    """Return what `text` says: `housing=amber`, `housing: amber` or words as in `yellowish housing`.

    `marks` holds the values known of each mark. Only what can be matched by spelling, or by a short list of
    words that mean alike, is understood; a denial (`not amber`) never is.
    """
    head, parted, tail = (part.strip() for part in _parted(text))
    if parted:
        key = _nearest(_words(head), marks)
        return _unknown_key(head, marks) if key is None else _with_key(key, tail, marks[key])
    words = _words(text)
    for size in range(1, len(words)):
        for start in (len(words) - size, *range(len(words) - size)):
            key = _nearest(words[start : start + size], marks)
            if key is not None:
                return _with_key(key, " ".join(words[:start] + words[start + size :]), marks[key])
    return _by_value(text, marks)


def _parted(text: str) -> tuple[str, str, str]:
    found = re.search(r"[=:]", text)
    return (text[: found.start()], found[0], text[found.end() :]) if found else (text, "", "")


def _with_key(key: str, said: str, values: Sequence[str]) -> Understood:
    if " ".join(_words(said)) in _UNKNOWN:
        return Understood(key, None, f"{key}: not known to you")
    value = _value(said, values)
    if value is None:
        return Understood(key, None, f"{key}: '{said.strip()}' is none of {_listed(values)}")
    return Understood(key, value, f"{key} is {value}")


def _by_value(text: str, marks: Mapping[str, Sequence[str]]) -> Understood:
    found = {key: value for key, values in marks.items() if (value := _value(text, values)) is not None}
    if len(found) == 1:
        (key, value), *_ = found.items()
        return Understood(key, value, f"{key} is {value}")
    if found:
        return Understood(None, None, f"'{text.strip()}' may be said of {_listed(found)}: say of which")
    return _unknown_key(text, marks)


def _unknown_key(said: str, marks: Mapping[str, Sequence[str]]) -> Understood:
    known = f"marks known: {_listed(marks)}" if marks else "no marks are known of this model"
    return Understood(None, None, f"'{said.strip()}' is not understood; {known}")


def _value(said: str, values: Sequence[str]) -> str | None:
    words = _words(said)
    if _DENIALS.intersection(words):
        return None
    by_fold = {" ".join(_words(value)): value for value in values}
    whole = " ".join(words)
    if whole in by_fold:
        return by_fold[whole]
    for matches in (_held, _spelled, _meant):
        found = {value for fold, value in by_fold.items() if matches(words, fold)}
        if len(found) == 1:
            return found.pop()
        if found:
            return None
    return None


def _held(words: Sequence[str], value: str) -> bool:
    """Whether the value stands among the words as it is."""
    return f" {value} " in f" {' '.join(words)} "


def _spelled(words: Sequence[str], value: str) -> bool:
    size = value.count(" ") + 1
    runs = (" ".join(words[k : k + size]) for k in range(len(words) - size + 1))
    return any(_likeness(run, value) >= _CLOSE for run in runs)


def _meant(words: Sequence[str], value: str) -> bool:
    own = set(value.split())
    said = {*words, *(word.removesuffix("ish") for word in words)}
    return any(said & group and own & group for group in _ALIKE)


def _nearest(words: Sequence[str], keys: Iterable[str]) -> str | None:
    said = " ".join(words)
    scored = [(_likeness(said, " ".join(_words(key))), key) for key in keys]
    likeness, key = max(scored, default=(0.0, ""))
    return key if likeness >= _CLOSE else None


def _likeness(one: str, other: str) -> float:
    return difflib.SequenceMatcher(None, one, other).ratio()


def _words(text: str) -> list[str]:
    """Small letters, endings like -ish joined to their word, no signs and no filling words."""
    joined = re.sub(r"[-_ ]+ish\b", "ish", text.casefold().replace("'", "").replace("\u2019", ""))
    return [word for word in re.findall(r"[^\W_]+|\?", joined) if word not in _FILLERS]


def _listed(names: Iterable[str]) -> str:
    return ", ".join(names)
