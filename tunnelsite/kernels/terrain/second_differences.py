"""How rough the ground is round every cell: mean square second differences in a window.

The sums of a window slide down the columns and then along the row. They restart at fixed rows of the array, so a result
depends neither on threads nor on the rows asked for.
"""

import numpy as np

from tunnelsite.kernels.compiled import njit
from tunnelsite.kernels.options import INNER
from tunnelsite.kernels.shared import shared
from tunnelsite.kernels.tiles import checked_rows

LEAST_KNOWN = 8  # differences; fewer say nothing
_TILE_ROWS = 128


def mean_square_second_differences(
    ground: np.ndarray, lag_cells: int, reach_cells: int, rows: tuple[int, int] | None = None
) -> np.ndarray:
    """Return the mean of (z(x + lag) - 2 z(x) + z(x - lag))^2 along rows and columns round each cell; a plane has none.

    ground: elevations [rows, columns], float32 or float64 [m], NaN = no data.
    lag_cells: distance of the three heights, 1 or more. reach_cells: the middles of the differences lie in the square of
    this half side round the cell, 0 or more.
    rows: first and past-the-last output row (default all); changes no bit of the result.
    Return: float64 [rows asked for, columns] [m2]; NaN where fewer than 8 differences are known.
    Raises ValueError for a ground that is not 2-D floating point or rows that do not fit it.
    """
    start, stop = checked_rows(ground, rows)
    if lag_cells < 1 or reach_cells < 0:
        raise ValueError(f"a lag of {lag_cells} and a reach of {reach_cells} cells; 1 and 0 or more are expected")
    out = np.empty((stop - start, ground.shape[1]))
    first = start // _TILE_ROWS
    _window_means(-(-stop // _TILE_ROWS) - first, ground, lag_cells, reach_cells, start, out)
    return out


@shared
def _window_means(mine, ground, lag, reach, start, out):
    rows, cols = ground.shape
    stop = start + out.shape[0]
    first = start // _TILE_ROWS
    for tile in range(first + mine[0], first + mine[1]):
        top = tile * _TILE_ROWS
        square, known = np.zeros(cols), np.zeros(cols, np.int64)
        for row in range(max(top - reach, 0), min(top + reach, rows)):
            _add_row(ground, lag, row, np.int64(1), square, known)
        for row in range(top, min(top + _TILE_ROWS, stop)):
            if row + reach < rows:
                _add_row(ground, lag, row + reach, np.int64(1), square, known)
            if row - reach - 1 >= 0 and row > top:
                _add_row(ground, lag, row - reach - 1, np.int64(-1), square, known)
            if row >= start:
                _along_row(square, known, reach, out[row - start])


@njit(**INNER)
def _add_row(ground, lag, row, sign, square, known):
    """Add (1) or take off (-1) the differences whose middles lie in a row."""
    rows, cols = ground.shape
    if lag <= row < rows - lag:
        for col in range(cols):
            bend = float(ground[row - lag, col]) - 2.0 * float(ground[row, col]) + float(ground[row + lag, col])
            if bend == bend:
                square[col] += sign * bend * bend
                known[col] += sign
    for col in range(lag, cols - lag):
        bend = float(ground[row, col - lag]) - 2.0 * float(ground[row, col]) + float(ground[row, col + lag])
        if bend == bend:
            square[col] += sign * bend * bend
            known[col] += sign


@njit(**INNER)
def _along_row(square, known, reach, out):
    cols = out.size
    total, count = 0.0, 0
    for col in range(min(reach, cols)):
        total += square[col]
        count += known[col]
    for col in range(cols):
        if col + reach < cols:
            total += square[col + reach]
            count += known[col + reach]
        if col - reach - 1 >= 0:
            total -= square[col - reach - 1]
            count -= known[col - reach - 1]
        out[col] = max(total, 0.0) / count if count >= LEAST_KNOWN else np.nan
