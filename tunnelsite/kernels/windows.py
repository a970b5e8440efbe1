"""Mean, maximum, minimum and relief of a layer under a rectangle at every placement.

Extremes use partial windows of 1, 2, 4, ... cells: two overlapping ones of the largest power of two give any window,
in log2(size) passes that each run on many columns at once and are exact. The mean uses the sliding sums of `planes`.
"""

import numpy as np
from numba import njit, prange

from tunnelsite.kernels.coverage import axis_coverage
from tunnelsite.kernels.planes import checked_rows, rectangle_means

TILE_ROWS = 64
TILE_COLS = 512


def rectangle_mean(
    layer: np.ndarray, length_cells: float, width_cells: float, rows: tuple[int, int] | None = None
) -> np.ndarray:
    """Return the area-weighted mean [unit of the layer] under a rectangle centred on every cell, float32.

    layer: values [rows, columns], float32 or float64, NaN = no data. Sizes in cells; ends count fractionally.
    rows: first and past-the-last output row (default all).
    NaN where the rectangle leaves the array or covers a cell that is not finite. Raises ValueError as `checked_rows`.
    """
    return rectangle_means(layer, length_cells, width_cells, rows)


def rectangle_max(
    layer: np.ndarray, length_cells: float, width_cells: float, rows: tuple[int, int] | None = None
) -> np.ndarray:
    """Return the largest value of any cell the rectangle covers (weight > 0), in the layer's dtype.

    Arguments, gaps and errors as `rectangle_mean`.
    """
    return _extremes(layer, length_cells, width_cells, rows)[0]


def rectangle_min(
    layer: np.ndarray, length_cells: float, width_cells: float, rows: tuple[int, int] | None = None
) -> np.ndarray:
    """Return the smallest value of any cell the rectangle covers (weight > 0), in the layer's dtype.

    Arguments, gaps and errors as `rectangle_mean`.
    """
    return _extremes(layer, length_cells, width_cells, rows)[1]


def rectangle_relief(
    layer: np.ndarray, length_cells: float, width_cells: float, rows: tuple[int, int] | None = None
) -> np.ndarray:
    """Return largest minus smallest value of the cells the rectangle covers (weight > 0), in the layer's dtype.

    Arguments, gaps and errors as `rectangle_mean`.
    """
    high, low = _extremes(layer, length_cells, width_cells, rows)
    return np.subtract(high, low, out=high)


def _extremes(layer, length_cells, width_cells, rows):
    """Return maximum and minimum under every placement."""
    start, stop = checked_rows(layer, rows)
    high, low = (np.empty((stop - start, layer.shape[1]), layer.dtype) for _ in range(2))
    reach = (axis_coverage(width_cells).reach, axis_coverage(length_cells).reach)
    _fill_extremes(layer, reach, (start, stop), high, low)
    return high, low


@njit(cache=True, parallel=True, nogil=True, error_model="numpy")
def _fill_extremes(layer, reach, rows, high, low):
    """Fill `high` and `low` tile by tile."""
    high[:] = np.nan
    low[:] = np.nan
    top, bottom = max(rows[0], reach[0]), min(rows[1], layer.shape[0] - reach[0])
    left, right = reach[1], layer.shape[1] - reach[1]
    across = max((right - left + TILE_COLS - 1) // TILE_COLS, 0)
    down = max((bottom - top + TILE_ROWS - 1) // TILE_ROWS, 0)
    for tile in prange(down * across):
        r0 = top + (tile // across) * TILE_ROWS
        c0 = left + (tile % across) * TILE_COLS
        r1, c1 = min(r0 + TILE_ROWS, bottom), min(c0 + TILE_COLS, right)
        _extremes_tile(
            layer[r0 - reach[0] : r1 + reach[0], c0 - reach[1] : c1 + reach[1]],
            high[r0 - rows[0] : r1 - rows[0], c0:c1],
            low[r0 - rows[0] : r1 - rows[0], c0:c1],
        )


@njit(cache=True, nogil=True, error_model="numpy")
def _extremes_tile(view, high, low):
    """Write the extremes of one tile from a view that holds its halo."""
    count = high.shape[0]
    wide, tall = view.shape[1] - high.shape[1] + 1, view.shape[0] - count + 1
    tops, bottoms = (
        np.empty((view.shape[0], view.shape[1]), view.dtype),
        np.empty((view.shape[0], view.shape[1]), view.dtype),
    )
    for r in range(view.shape[0]):
        upper, lower = tops[r], bottoms[r]
        for c in range(view.shape[1]):
            z = view[r, c]
            known = abs(z) < np.inf
            upper[c] = z if known else np.inf
            lower[c] = z if known else -np.inf
        step = _spread(upper, lower, wide)
        _merge(upper, lower, upper[wide - step :], lower[wide - step :], high.shape[1])
    step = 1
    while 2 * step <= tall:
        for r in range(view.shape[0] - step):
            _merge(tops[r], bottoms[r], tops[r + step], bottoms[r + step], high.shape[1])
        step *= 2
    for r in range(count):
        upper, lower = tops[r], bottoms[r]
        _merge(upper, lower, tops[r + tall - step], bottoms[r + tall - step], high.shape[1])
        for c in range(high.shape[1]):
            known = upper[c] - lower[c] < np.inf
            high[r, c] = upper[c] if known else np.nan
            low[r, c] = lower[c] if known else np.nan


@njit(cache=True, nogil=True, error_model="numpy")
def _spread(upper, lower, size):
    """Widen each cell to the extremes of `step` cells to its right, step the largest power of two <= size; return it."""
    step = 1
    while 2 * step <= size:
        _merge(upper, lower, upper[step:], lower[step:], upper.size - step)
        step *= 2
    return step


@njit(cache=True, nogil=True, error_model="numpy")
def _merge(upper, lower, other_upper, other_lower, count):
    """Take the larger and the smaller of two runs, in place."""
    for c in range(count):
        a, b = upper[c], other_upper[c]
        upper[c] = a if a > b else b
        a, b = lower[c], other_lower[c]
        lower[c] = a if a < b else b
