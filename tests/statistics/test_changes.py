"""Change points along serials: limits that follow from the formula, and calibration by simulation."""

import itertools
from collections.abc import Iterator

import numpy as np
import pytest

from registry.statistics.changes import Changes, Known


def points(*places: tuple[int, str]) -> list[Known]:
    return [Known(place, place, revision) for place, revision in places]


def test_two_units_alone_are_likely_of_one_build_between() -> None:
    near, far = (Changes(points((0, "A"), (d, "A")), 2).all_of_one([(0, 0, d, d)]) for d in (10, 10_000))
    assert near == pytest.approx(far, rel=1e-6)  # without anything else, no length is long
    assert 0.8 < near < 0.95


def test_more_units_of_one_build_make_it_surer_and_a_change_less_sure() -> None:
    few = points(*((100 * n, "A") for n in range(3)))
    many = points(*((100 * n, "A") for n in range(30)))
    mixed = points(*((100 * n, "AB"[n % 2]) for n in range(20)), (2000, "A"), (2100, "A"))
    chances = [
        Changes(known, 2).all_of_one([(known[-2].last, known[-2].last, known[-1].first, known[-1].first)])
        for known in (mixed, few, many)
    ]
    assert chances[0] < 0.3
    assert chances == sorted(chances)
    assert chances[2] > 0.98


def test_a_single_serial_is_surer_than_its_whole_gap_and_surest_at_its_ends() -> None:
    changes = Changes(points((0, "A"), (50, "A"), (200, "B"), (300, "A"), (400, "A")), 2)
    whole = changes.all_of_one([(300, 300, 400, 400)])
    single = [changes.all_of_one([(300, x, x, 400)]) for x in (300, 301, 350)]
    assert single[0] == pytest.approx(1)
    assert single[0] > single[1] > single[2] > whole


def test_a_long_declared_stretch_speaks_for_few_changes() -> None:
    gap = points((10_000, "A"), (10_100, "A"))
    short, long = ([Known(0, last, "A"), *gap] for last in (10, 9_900))
    chances = [Changes(known, 2).all_of_one([(10_000, 10_000, 10_100, 10_100)]) for known in (short, long)]
    assert chances[1] > chances[0]


def test_one_stretch_is_too_few() -> None:
    with pytest.raises(ValueError, match="two"):
        Changes(points((1, "A")), 2)


def test_places_of_many_digits_do_not_overflow() -> None:
    big = 10**30
    assert 0 < Changes(points((big, "A"), (3 * big, "A")), 2).all_of_one([(big, big, 3 * big, 3 * big)]) < 1


def builds_along(rng: np.random.Generator, rate: float, length: int, builds: int) -> np.ndarray:
    """The build of each serial of a maker that changes at random."""
    build = np.zeros(length, int)
    for at in np.flatnonzero(rng.random(length) < rate):
        others = [b for b in range(builds) if b != build[at]]
        build[at:] = rng.choice(others)
    return build


def stated_and_true(
    rng: np.random.Generator, makers: int, builds: int, changes: tuple[float, float]
) -> Iterator[tuple[float, bool]]:
    """What is stated of each gap between units of one build, and whether nothing else lay in it."""
    for _ in range(makers):
        length = 2000
        rate = np.exp(rng.uniform(*np.log(changes))) / length
        build = builds_along(rng, rate, length, builds)
        seen = np.sort(rng.choice(length, rng.integers(8, 40), replace=False))
        known = points(*((int(place), str(build[place])) for place in seen))
        learnt = Changes(known, builds)
        for a, b in itertools.pairwise(known):
            if a.revision == b.revision and b.first - a.last > 1:
                piece = (a.last, a.last, b.first, b.first)
                yield learnt.all_of_one([piece]), bool((build[a.last : b.first + 1] == build[a.last]).all())


@pytest.mark.parametrize("builds", [2, 3, 5])
def test_stated_probabilities_come_true(builds: int) -> None:
    rng = np.random.default_rng(builds)
    told = list(stated_and_true(rng, 250, builds, (0.5, 40)))
    stated, true = np.array([s for s, _ in told]), np.array([t for _, t in told])
    assert stated.mean() == pytest.approx(true.mean(), abs=0.01)
    for low, high in ((0.0, 0.6), (0.6, 0.8), (0.8, 0.9), (0.9, 0.97), (0.97, 1.0)):
        within = (stated >= low) & (stated < high)
        if within.sum() > 60:
            said, came = stated[within].mean(), true[within].mean()
            # Three standard errors; gaps of one maker go together, so about half as many count.
            slack = 0.01 + 3 * np.sqrt(0.5 * said * (1 - said) / within.sum())
            # Where makers change builds within most gaps it may say too little, never too much.
            assert said - slack <= came <= (said + slack if low >= 0.8 else 1)
