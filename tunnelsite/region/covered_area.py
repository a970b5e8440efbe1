"""How much land houses may cover: the union of the rectangles round every place where a centre may lie."""

from __future__ import annotations

import numpy as np


def covered_cells(rows: np.ndarray, cols: np.ndarray, length_cells: float, width_cells: float) -> float:
    """Area [cells] of the union of rectangles round cells, their length along the rows.

    Arguments: rows, cols, int [n], no cell twice; length_cells, width_cells, of a rectangle.
    Exact: a line across the rows meets the rectangles of as many rows of centres as fit into the width, or one more; which of the two
    changes with its place in a cell only, so a union is two sums over rows, and along a row one over the gaps (derived).
    """
    if not len(rows):
        return 0.0
    row, col = rows - rows.min(), cols - cols.min()
    there = np.zeros((row.max() + 1, col.max() + 1), bool)
    there[row, col] = True
    whole, more = divmod(width_cells, 1.0)
    return sum(
        share * _length(_within(there, count), length_cells)
        for share, count in ((1.0 - more, int(whole)), (more, int(whole) + 1))
        if share > 0 and count > 0
    )


def _within(there: np.ndarray, count: int) -> np.ndarray:
    """bool [rows + count - 1, cols]: whether one of `count` rows that follow each other holds a cell."""
    sums = np.zeros((there.shape[0] + 2 * count - 1, there.shape[1]), np.int32)
    np.cumsum(there, axis=0, out=sums[count : count + len(there)])
    sums[count + len(there) :] = sums[count + len(there) - 1]
    return sums[count:] > sums[:-count]


def _length(there: np.ndarray, length_cells: float) -> float:
    """Length of the unions of intervals round the cells of each row, all rows together."""
    row, col = np.nonzero(there)
    gaps = np.where(np.diff(row) == 0, np.diff(col), np.inf)
    return float(np.minimum(gaps, length_cells).sum() + (length_cells if len(row) else 0.0))
