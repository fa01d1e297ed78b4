"""Patterns of serial schemes: what may be used, in which base parts count, and that reading stays quick."""

import time

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from registry.models.serial_patterns import LONGEST, Reader, Unusable, reader

# Texts that keep every way open until the end, where they fail.
ADVERSARIES = [
    *(sign * LONGEST for sign in "0A-"),
    *(sign * (LONGEST - 1) + end for sign in "01A" for end in "X-_0"),
    "0A" * (LONGEST // 2),
    "0" * (LONGEST // 2) + "A" * (LONGEST // 2),
    *("0" * length for length in range(LONGEST)),
]


def made(pattern: str, *order: str) -> Reader | Unusable:
    return reader(pattern, order or ("n",))


def slowest_s(ready: Reader) -> float:
    """The slowest of the adversaries in seconds, each the best of three."""
    return max(min(_timed(ready, text) for _ in range(3)) for text in ADVERSARIES)


def _timed(ready: Reader, text: str) -> float:
    begun = time.process_time()
    ready.expression.fullmatch(text)
    return time.process_time() - begun


@pytest.mark.parametrize(
    "pattern",
    [
        r"(?P<n>(\d+)+)X",
        r"(?P<n>\d+)(\d*)*X",
        r"(?P<n>(?:\d|\d\d)+)X",
        r"(?P<n>(?:0|0|0|0){20})X",
        r"(?P<n>\d*)\d*\d*\d*\d*\d*X",
        r"(?P<n>(?:\d?){30})X",
        r"(?P<n>\d*)\d*\d*\d*\d*A{40}",
        r"(?P<n>(?:(?:\d?)+?)+?)X",
        r"(?P<n>(?:A|AB|[A-Z]){9})X",
        r"(?P<n>\d(?:){4294967294})",
        r"(?P<n>(?:(?:){9999}){9999}\d)",
    ],
)
def test_patterns_that_could_be_tried_in_very_many_ways_are_refused_at_once(pattern) -> None:
    begun = time.process_time()
    wrong = made(pattern)
    assert time.process_time() - begun < 1
    assert isinstance(wrong, Unusable)
    assert "too many ways" in str(wrong)


@pytest.mark.parametrize(
    "pattern",
    [
        r"(?P<n>\d+)",
        r"[A-Z]{2}(?P<n>\d{6})",
        r"(?P<n>\d+)-\d+-\d+",
        r"(?P<n>\d{4,8})[A-Z]?(?:-\d{2})?",
        r"(?:AB|CD|E)(?P<n>\d{3,})X?",
        r"(?P<n>\d*\d*\d*)X",
        r"(?:[A-Z]\d){3}(?P<n>\d+)",
        r"(?P<n>\d++)(?>AB|A)",
    ],
)
def test_patterns_of_the_usual_forms_are_taken_and_are_quick(pattern) -> None:
    ready = made(pattern)
    assert isinstance(ready, Reader), ready
    assert slowest_s(ready) < 0.02


ATOMS = st.sampled_from(["0", "A", r"\d", "[A-Z]", "[0-9A-Z]", ".", "-", r"\w"])
COUNTS = st.sampled_from(["", "?", "*", "+", "{2}", "{1,3}", "{2,}", "*?", "{0,40}"])


def _grown(inner: st.SearchStrategy[str]) -> st.SearchStrategy[str]:
    groups = st.tuples(inner, COUNTS).map(lambda pair: f"(?:{pair[0]}){pair[1]}")
    either = st.lists(inner, min_size=2, max_size=3).map(lambda several: f"(?:{'|'.join(several)})")
    return st.one_of(groups, either, st.lists(inner, min_size=1, max_size=6).map("".join))


PATTERNS = st.recursive(st.tuples(ATOMS, COUNTS).map("".join), _grown, max_leaves=14)


@settings(deadline=None, max_examples=300)
@given(body=PATTERNS, tail=st.sampled_from(["", "X", "_"]))
def test_whatever_is_taken_is_quick_on_adversaries(body: str, tail: str) -> None:
    ready = made(f"(?P<n>{body}){tail}")
    if isinstance(ready, Reader):
        assert slowest_s(ready) < 0.05


@pytest.mark.parametrize(
    ("pattern", "says"),
    [
        (r"(?P<n>a{99999999999999999999})", "not a regular expression"),
        (r"(?u)(?P<n>\d)", "not a regular expression"),
        (r"(?P<n>\d", "not a regular expression"),
        (r"(?P<n>\d{41})", "more than 40 characters"),
        (r"(?P<n>\d)" + "A" * 200, "longer than 200"),
        (r"(?P<n>\d)\1", "refers back"),
        (r"(?P<n>\d)(?P=n)", "refers back"),
        (r"(?P<n>\d)?(?(n)A|B)", "refers back"),
        (r"(?=A)(?P<n>[A-Z])", "looks ahead"),
        (r"(?P<n>\d)(?<!0)", "looks ahead"),
        (r"(?P<a>(?P<b>(?P<c>[A-Z]{9})))(?P<n>\d)", "b lies within the part a"),
        (r"(?P<body>[A-Z](?P<n>\d))", "n lies within the part body"),
        (r"(?P<n>\d){3}", "n is repeated"),
        (r"(?:-(?P<n>\d))+", "n is repeated"),
        (r"\d", "no named part"),
    ],
)
def test_what_is_wrong_is_said(pattern, says) -> None:
    assert says in str(made(pattern))


def test_order_names_each_part_once_and_not_more_than_are_packed() -> None:
    pattern = r"(?P<a>\d)(?P<b>\d)(?P<c>\d)(?P<d>\d)(?P<e>\d)"
    assert isinstance(made(pattern, *"abcd"), Reader)
    assert "at most 4" in str(made(pattern, *"abcde"))
    assert "once" in str(made(pattern, "a", "a"))


@pytest.mark.parametrize("depth", [10, 60, 95])
def test_deep_brackets_do_no_harm(depth) -> None:
    assert isinstance(made("(?P<n>" + "(" * depth + "0" + ")" * depth + ")"), Reader)


@pytest.mark.parametrize(
    ("part", "base"),
    [
        (r"\d{6}", 10),
        (r"[0-9]+", 10),
        (r"[0-9A-Z]{3}", 36),
        (r"\w{3}", 36),
        (r"...", 36),
        (r"[^-]{3}", 36),
        (r"[^\W\d]", 36),
        (r"[^\WA-Za-z]", 10),
        (r"\D\d", 36),
        (r"(?:\d|A\d)", 36),
        (r"(?:\d\d-?){2}", 10),
        (r"(?i:[a-f])\d", 36),
        (r"[^A]{2}", 36),
    ],
)
def test_the_base_follows_from_the_pattern_alone(part, base) -> None:
    ready = made(f"(?P<n>{part})")
    assert isinstance(ready, Reader)
    assert ready.bases == {"n": base}
