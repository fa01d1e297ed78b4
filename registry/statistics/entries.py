"""Matrices with few entries that are not nought, for many tables side by side, and their weighted squares."""

import numpy as np

from registry.statistics.robust import Floats
from registry.statistics.stacks import Codes


class Entries:
    """Where the entries of a matrix lie: the row and the column of each. Several in one place add up.

    Products are taken of entries of one row alone, so that a row costs the square of its entries, however
    many columns there are.
    """

    def __init__(self, row: Codes, column: Codes, columns: int) -> None:
        self._columns = columns
        order = np.argsort(row, kind="stable")
        size = np.bincount(row)
        others, first = size[row[order]], (np.cumsum(size) - size)[row[order]]
        within = np.arange(int(others.sum())) - np.repeat(np.cumsum(others) - others, others)
        left, right = np.repeat(order, others), order[np.repeat(first, others) + within]
        meeting = column[left] * columns + column[right]
        # Those that meet in the same columns lie together, so that they are summed up where they are.
        order = np.argsort(meeting, kind="stable")
        self._left, self._right, self._row = left[order], right[order], row[left[order]]
        self._first = np.flatnonzero(np.diff(meeting[order], prepend=-1))
        self._met = meeting[order[self._first]]

    def squares(self, values: Floats, weights: Floats) -> Floats:
        """The sums over rows of products of all columns: tables by columns by columns.

        `values` are those of entries, `weights` one a row, each with a row a table.
        """
        # `take` lays rows one after the other in memory, which indexing by an array does not.
        products = values.take(self._left, axis=1)
        products *= values.take(self._right, axis=1)
        products *= weights.take(self._row, axis=1)
        found = np.zeros((values.shape[0], self._columns**2))
        found[:, self._met] = np.add.reduceat(products, self._first, axis=1)
        return found.reshape(-1, self._columns, self._columns)
