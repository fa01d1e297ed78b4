"""Weighted squares of matrices given by their entries, against the matrices written out."""

import numpy as np
import pytest

from registry.statistics.entries import Entries


@pytest.mark.parametrize("seed", range(10))
def test_squares_are_those_of_the_matrix_written_out(seed: int) -> None:
    rng = np.random.default_rng(seed)
    rows, columns, entries, tables = 7, 5, 20, 3
    row = np.concatenate([np.arange(rows), rng.integers(0, rows, entries - rows)])
    column = rng.integers(0, columns, entries)
    values, weights = rng.normal(size=(tables, entries)), rng.uniform(0, 2, (tables, rows))
    found = Entries(row, column, columns).squares(values, weights)
    for table in range(tables):
        matrix = np.zeros((rows, columns))
        np.add.at(matrix, (row, column), values[table])
        expected = matrix.T @ (weights[table][:, None] * matrix)
        assert found[table] == pytest.approx(expected, abs=1e-12)
