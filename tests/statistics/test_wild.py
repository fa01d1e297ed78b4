"""Units that stand out, and units that only seem to."""

import numpy as np

from registry.statistics.wild import wild_units


def table(rng, groups=4, units=5, cells=2):
    """Sound units of `cells` cells at groups that lean; spread 1."""
    lean = rng.normal(0, 10, groups)
    rows = [
        (c, g, lean[g] + 5 * c + rng.normal())
        for g in range(groups)
        for c in range(cells)
        for _ in range(units)
    ]
    cell, group, value = zip(*rows, strict=True)
    return np.array(value), np.array(cell), np.arange(len(rows)), np.array(group)


def found(value, cell, unit, group):
    (marks,) = wild_units(value[None], np.full((1, value.size), 0.01), cell, unit, group)
    return np.flatnonzero(marks).tolist()


def test_sound_units_are_left_alone_nearly_always() -> None:
    rng = np.random.default_rng(1)
    touched = sum(bool(found(*table(rng))) for _ in range(300))
    assert touched <= 6


def test_a_wild_unit_is_found_whatever_its_clinic_leans() -> None:
    rng = np.random.default_rng(2)
    hits = 0
    for _ in range(100):
        value, cell, unit, group = table(rng)
        value[13] += 15
        hits += found(value, cell, unit, group) == [13]
    assert hits >= 95


def test_a_clinic_that_leans_is_no_wild_unit() -> None:
    rng = np.random.default_rng(3)
    value, cell, unit, group = table(rng)
    value[group == 2] += 100
    assert found(value, cell, unit, group) == []


def test_a_lone_unit_at_its_clinic_is_held_against_all() -> None:
    rng = np.random.default_rng(4)
    value = np.append(rng.normal(0, 1, 12), 90.0)
    cell, unit = np.zeros(13, int), np.arange(13)
    assert found(value, cell, unit, np.arange(13)) == [12]


def test_no_more_than_a_fifth_is_set_aside() -> None:
    value = np.concatenate([np.linspace(0, 1, 7), [50, 60, 70]])
    cell, unit, group = np.zeros(10, int), np.arange(10), np.arange(10)
    assert len(found(value, cell, unit, group)) <= 2


def test_the_rows_of_one_unit_stand_together() -> None:
    rng = np.random.default_rng(5)
    value, cell, unit, group = table(rng)
    value[3] += 9 - (value[3] - np.median(value[:5]))
    assert found(value, cell, unit, group) == [3]
    unit[13] = 3
    assert found(value, cell, np.unique(unit, return_inverse=True)[1], group) == []


def test_too_few_to_tell() -> None:
    few = np.array([0, 1])
    assert found(np.array([0.0, 99.0]), np.array([0, 0]), few, few) == []
    same = np.zeros(6)
    marks = wild_units(same[None], same[None], same.astype(int), np.arange(6), np.arange(6))
    assert not marks.any()


def test_a_build_whose_units_differ_more_has_no_wild_ones_for_that() -> None:
    rng = np.random.default_rng(11)
    values = np.concatenate([rng.normal(0, 1, 24), np.linspace(-14, 14, 8)])
    cell = np.repeat([0, 1], [24, 8])
    assert found(values, cell, np.arange(32), np.zeros(32, np.intp)) == []
    values[30] = 90.0
    assert found(values, cell, np.arange(32), np.zeros(32, np.intp)) == [30]


def test_tables_side_by_side_lose_what_each_would_lose_alone() -> None:
    rng = np.random.default_rng(12)
    tables = [table(rng) for _ in range(20)]
    _, cell, unit, group = tables[0]
    values = np.array([values for values, *_ in tables])
    values[3, 13] += 15
    values[7, [2, 30]] += 40
    noise = np.full_like(values, 0.01)
    together = wild_units(values, noise, cell, unit, group)
    assert together[3].any()
    assert together[7].any()
    for alone, marks in zip(values, together, strict=True):
        assert np.flatnonzero(marks).tolist() == found(alone, cell, unit, group)
