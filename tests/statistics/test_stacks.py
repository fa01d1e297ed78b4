"""Tables worked out side by side give what each gives alone."""

import numpy as np
import pytest

from registry.statistics.domains import ANYWHERE, Domain
from registry.statistics.mixed import Cover
from registry.statistics.nested import Cells, stacked
from registry.statistics.precision import summarise, summarise_all
from registry.statistics.stacks import alike, weighted_middle, weights_of

ROWS = [(0, 0), (0, 1), (1, 0), (2, 0), (3, 1), (4, 1), (5, 1), (6, 2)]


def tables(count: int, seed: int = 3, wild: float = 0.0) -> list[Cells]:
    """Tables of one design, one unit of which may be wild."""
    rng = np.random.default_rng(seed)
    unit, clinic = (np.array(codes, np.intp) for codes in zip(*ROWS, strict=True))
    made = []
    for _ in range(count):
        mean = 200 + 5 * rng.standard_normal(7)[unit] + 3 * rng.standard_normal(3)[clinic]
        mean[5] += wild
        runs = rng.integers(1, 5, unit.size).astype(float)
        made.append(
            Cells(
                unit=unit,
                clinic=clinic,
                mean=mean,
                runs=runs,
                systematic=np.full(unit.size, 2.0),
                random=float(rng.uniform(0.5, 2.0)),
                squares=float(rng.uniform(5, 40)),
                freedom=int(runs.sum()) - unit.size,
            )
        )
    return made


@pytest.mark.parametrize("wild", [0.0, 400.0])
def test_many_tables_give_what_each_gives_alone(wild: float) -> None:
    several = tables(6, wild=wild)
    for found, table in zip(summarise_all([(table, ANYWHERE) for table in several]), several, strict=True):
        alone = summarise(table)
        assert found.centre == pytest.approx(alone.centre, rel=1e-12)
        assert (found.interval.low, found.next_unit.high) == pytest.approx(
            (alone.interval.low, alone.next_unit.high), rel=1e-10
        )
        assert (found.unit, found.clinic, found.reined_units) == (
            pytest.approx(alone.unit, rel=1e-10),
            pytest.approx(alone.clinic, rel=1e-10),
            alone.reined_units,
        )


def test_tables_of_several_designs_come_back_in_their_order() -> None:
    one, other = tables(2)
    fewer = Cells(
        **{
            **vars(other),
            **{n: getattr(other, n)[:-1] for n in ("unit", "clinic", "mean", "runs", "systematic")},
        }
    )
    mixed = [(one, ANYWHERE), (fewer, Domain(low=0.0)), (other, ANYWHERE)]
    found = summarise_all(mixed, with_influence=False)
    assert [each.units for each in found] == [7, 6, 7]
    assert [each.centre for each in found] == pytest.approx([summarise(*table).centre for table in mixed])
    assert all(each.influence == () for each in found)
    assert alike([(cells.unit, cells.clinic) for cells, _ in mixed]) == [[0, 2], [1]]


def test_weights_are_those_of_the_whole_covariance() -> None:
    stack = stacked(tables(3))
    unit, clinic = np.array([0.0, 4.0, 25.0]), np.array([[4.0, 9.0, 1.0], [0.0, 0.0, 0.0], [1.0, 2.0, 3.0]])
    found = weights_of(stack, unit, clinic)
    for table in range(3):
        same_unit = stack.unit[:, None] == stack.unit
        same_clinic = stack.clinic[:, None] == stack.clinic
        whole = (
            np.diag(stack.doubt[table])
            + unit[table] * same_unit
            + np.diag(clinic[table])[stack.clinic][:, stack.clinic] * same_clinic
        )
        assert found[table] == pytest.approx(np.linalg.solve(whole, np.ones(stack.unit.size)), rel=1e-6)
        cover = Cover(stack.unit, stack.clinic, stack.doubt[table], unit[table], clinic[table])
        assert found[table] == pytest.approx(cover.solve(np.ones(stack.unit.size)), rel=1e-12)


def test_weighted_middles_are_medians_of_values_repeated_as_often_as_they_weigh() -> None:
    rng = np.random.default_rng(5)
    for size in (1, 2, 3, 8):
        values, weights = rng.integers(0, 6, (20, size)).astype(float), rng.integers(1, 4, size).astype(float)
        found = weighted_middle(values, weights)[:, 0]
        assert found.tolist() == [np.median(np.repeat(row, weights.astype(int))) for row in values]
