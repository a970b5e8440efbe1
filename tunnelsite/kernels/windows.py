"""Mean, maximum, minimum and relief of a layer under a rectangle at every placement.

Extremes use partial windows of 1, 2, 4, ... cells: two overlapping ones of the largest power of two give any
window,
in log2(size) passes that each run on many columns at once and are exact. The mean uses the sliding sums of
`planes`.
"""

import numpy as np

from tunnelsite.kernels.compiled import njit
from tunnelsite.kernels.coverage import axis_coverage
from tunnelsite.kernels.options import INNER
from tunnelsite.kernels.shared import shared_singly
from tunnelsite.kernels.tiles import (
    TILE_ROWS,
    blank_gaps,
    checked_reach,
    checked_rows,
    gaps_filled,
    tile_datum,
    tile_grid,
)

# Extremes come out the same whatever the tile; these keep a tile of both in the second cache.
EXTREME_ROWS = 64
EXTREME_COLS = 512
# Larger values are no data to the mean too: their sums would swallow every other cell of the tile.
LAYER_LIMIT = 1e30


def rectangle_mean(
    layer: np.ndarray, length_cells: float, width_cells: float, rows: tuple[int, int] | None = None
) -> np.ndarray:
    """Return the area-weighted mean [unit of the layer] under a rectangle centred on every cell, float32.

    layer: values [rows, columns], float32 or float64, NaN = no data. Sizes in cells; ends count fractionally.
    rows: first and past-the-last output row (default all).
    NaN where the rectangle leaves the array or covers a cell that is not finite. Raises ValueError as
    `checked_rows`.
    A value beyond +-1e30 counts as no data. No bit depends on `rows` or on threads.
    """
    start, stop = checked_rows(layer, rows)
    along, across = axis_coverage(length_cells), axis_coverage(width_cells)
    checked_reach(along.reach)
    mean = np.full((stop - start, layer.shape[1]), np.nan, np.float32)
    grid = tile_grid(layer.shape, (start, stop), along[1])
    per_area = 1.0 / (float(length_cells) * float(width_cells))
    _fill_means(grid[1] * grid[2], layer, along, across, per_area, (start, stop), grid, mean)
    return mean


def rectangle_max(
    layer: np.ndarray, length_cells: float, width_cells: float, rows: tuple[int, int] | None = None
) -> np.ndarray:
    """Return the largest value of any cell the rectangle covers (weight > 0), in the layer's dtype.

    Arguments, gaps and errors as `rectangle_mean`.
    """
    return _extremes(layer, length_cells, width_cells, rows, 1)


def rectangle_min(
    layer: np.ndarray, length_cells: float, width_cells: float, rows: tuple[int, int] | None = None
) -> np.ndarray:
    """Return the smallest value of any cell the rectangle covers (weight > 0), in the layer's dtype.

    Arguments, gaps and errors as `rectangle_mean`.
    """
    return _extremes(layer, length_cells, width_cells, rows, -1)


def _extremes(layer, length_cells, width_cells, rows, sign):
    """Return the maximum (1) or minimum (-1) under every placement."""
    start, stop = checked_rows(layer, rows)
    extreme = np.full((stop - start, layer.shape[1]), np.nan, layer.dtype)
    reach = (axis_coverage(width_cells).reach, axis_coverage(length_cells).reach)
    top, bottom = max(start, reach[0]), min(stop, layer.shape[0] - reach[0])
    left, right = reach[1], layer.shape[1] - reach[1]
    across, down = max(-(-(right - left) // EXTREME_COLS), 0), max(-(-(bottom - top) // EXTREME_ROWS), 0)
    window = (top, bottom, left, right)
    _fill_extremes(down * across, layer, layer.dtype.type(sign), reach, start, window, extreme)
    return extreme


@shared_singly
def _fill_means(tile, layer, along, across, per_area, rows, grid, mean):
    """Write the means of one tile, sliding down row by row; tiles are fixed to the array, not to `rows`."""
    first, _down, tiles_along, tile_cols = grid
    top = max((first + tile // tiles_along) * TILE_ROWS, across[1])
    bottom = min((first + tile // tiles_along + 1) * TILE_ROWS, layer.shape[0] - across[1])
    left = max((tile % tiles_along) * tile_cols, along[1])
    right = min((tile % tiles_along + 1) * tile_cols, layer.shape[1] - along[1])
    if top >= bottom or left >= right:
        return
    window = (top - across[1], bottom + across[1], left - along[1], right + along[1])
    width = window[3] - window[2]
    datum, gaps = tile_datum(layer, window, LAYER_LIMIT)
    if gaps == (window[1] - window[0]) * width:
        return
    counts = np.zeros((0, 0), np.int32)
    if gaps > 0:
        layer, counts = gaps_filled(layer, window, datum, LAYER_LIMIT)
        window = (0, window[1] - window[0], 0, width)
    column, whole, running = np.zeros(width), np.zeros(width), np.zeros(width + 1)
    for k in range(across[1] - across[0], across[1] + across[0] + 1):
        line = layer[window[0] + k, window[2] : window[3]]
        for c in range(width):
            whole[c] += line[c] - datum
    for r in range(min(bottom, rows[1]) - top):
        _slide_whole(layer, window, r, across, datum, column, whole)
        row = top + r - rows[0]
        if row >= 0:
            _mean_row(column, running, along, (per_area, datum), mean[row, left:right])
            if gaps > 0:
                blank_gaps(counts, r, along[1], across[1], mean[row, left:right])


@njit(**INNER)
def _slide_whole(layer, window, r, across, datum, column, whole):
    """Set `column` to the weighted sums of placement row `r` and move the sums of whole rows on to the
    next."""
    full, reach, edge = across
    middle = window[0] + r + reach
    upper, lower = layer[middle - reach, window[2] : window[3]], layer[middle + reach, window[2] : window[3]]
    leaving = layer[middle - max(full, 0), window[2] : window[3]]
    coming = layer[min(middle + full + 1, window[1] - 1), window[2] : window[3]]
    keep = 0.0 if full < 0 else 1.0  # narrower than a cell: no row is whole
    for c in range(whole.size):
        s = whole[c]
        column[c] = s + edge * ((upper[c] - datum) + (lower[c] - datum))
        whole[c] = s + keep * (np.float64(coming[c]) - np.float64(leaving[c]))


@njit(**INNER)
def _mean_row(column, running, along, scales, line):
    """Write the means of one row of placements from its weighted column sums."""
    full, reach, edge = along
    total = 0.0
    for c in range(column.size):
        total += column[c]
        running[c + 1] = total
    before, after = running[reach - max(full, 0) :], running[reach + full + 1 :]
    far = column[2 * reach :]
    for c in range(line.size):
        line[c] = ((after[c] - before[c]) + edge * (column[c] + far[c])) * scales[0] + scales[1]


@shared_singly
def _fill_extremes(tile, layer, sign, reach, start, window, extreme):
    """Write the extremes of one tile, from a view that holds its halo; a minimum is the maximum of what is negated."""
    top, bottom, left, right = window
    across = (right - left + EXTREME_COLS - 1) // EXTREME_COLS
    r0, c0 = top + (tile // across) * EXTREME_ROWS, left + (tile % across) * EXTREME_COLS
    r1, c1 = min(r0 + EXTREME_ROWS, bottom), min(c0 + EXTREME_COLS, right)
    view = layer[r0 - reach[0] : r1 + reach[0], c0 - reach[1] : c1 + reach[1]]
    out = extreme[r0 - start : r1 - start, c0:c1]
    if _is_one_value(view):  # no water, nothing that stands
        out[:] = view[0, 0]
        return
    wide, tall = view.shape[1] - out.shape[1] + 1, view.shape[0] - out.shape[0] + 1
    tops = np.empty(view.shape, view.dtype)
    for r in range(view.shape[0]):
        line = tops[r]
        for c in range(view.shape[1]):
            z = view[r, c]
            line[c] = z * sign if abs(z) < np.inf else np.inf
        step = _spread(line, wide)
        _merge(line, line[wide - step :], out.shape[1])
    step = 1
    while 2 * step <= tall:
        for r in range(view.shape[0] - step):
            _merge(tops[r], tops[r + step], out.shape[1])
        step *= 2
    for r in range(out.shape[0]):
        line = tops[r]
        _merge(line, tops[r + tall - step], out.shape[1])
        for c in range(out.shape[1]):
            out[r, c] = line[c] * sign if line[c] < np.inf else np.nan


@njit(**INNER)
def _is_one_value(view):
    """Whether all is one finite value."""
    first = view[0, 0]
    if not abs(first) < np.inf:
        return False
    for r in range(view.shape[0]):
        line, alike = view[r], True
        for c in range(line.size):
            alike &= line[c] == first
        if not alike:
            return False
    return True


@njit(**INNER)
def _spread(line, size):
    """Widen each cell to the largest of `step` cells to its right, step the largest power of two <= size; return it."""
    step = 1
    while 2 * step <= size:
        _merge(line, line[step:], line.size - step)
        step *= 2
    return step


@njit(**INNER)
def _merge(line, other, count):
    """Take the larger of two runs, in place."""
    for c in range(count):
        a, b = line[c], other[c]
        line[c] = a if a > b else b
