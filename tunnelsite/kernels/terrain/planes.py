"""Least-squares plane of a rectangle at every placement, in constant time a placement.

Coverage weights are separable and symmetric, so the two slopes, the quadratic term across and the residual are sums
of w z, w u z, w v z, w v^2 z and w z^2. Those slide down the columns and then along the row, in eight runs side by side
(`lanes`). Both restart at fixed tiles of the array, with the tile's own datum taken off first, so nothing drifts over
long rows and a result depends neither on threads nor on the rows asked for.
"""

from typing import NamedTuple

import numpy as np

from tunnelsite.kernels.compiled import njit
from tunnelsite.kernels.coverage import axis_coverage, rectangle_moments
from tunnelsite.kernels.options import INNER
from tunnelsite.kernels.shared import shared_singly
from tunnelsite.kernels.terrain.plane_rows import slide_down
from tunnelsite.kernels.tiles import (
    TILE_ROWS,
    blank_gaps,
    checked_reach,
    checked_rows,
    gaps_filled,
    tile_datum,
    tile_grid,
)

# Further from zero than any ground on Earth: an undeclared no-data value (1e38 would spoil the sums of its tile).
GROUND_LIMIT_M = 1e5


class Planes(NamedTuple):
    """Plane of the ground under each placement, arrays [rows asked for, columns]; NaN where it is not
    known."""

    mean_m: np.ndarray  # area-weighted mean elevation [m]
    slope_along: np.ndarray  # rise to the east, fraction
    slope_across: np.ndarray  # rise to the north, fraction
    rms_m: np.ndarray  # area-weighted rms of the residuals [m]
    crown_m: np.ndarray  # middle above the long edges by the quadratic across [m]; + sheds water


def rectangle_planes(
    ground: np.ndarray,
    length_cells: float,
    width_cells: float,
    cell_m: float,
    rows: tuple[int, int] | None = None,
    out: Planes | None = None,
) -> Planes:
    """Return the least-squares plane of the ground under a rectangle centred on every cell.

    ground: elevations [rows, columns], float32 or float64 [m], row 0 north, NaN = no data.
    length_cells, width_cells: rectangle along the columns and along the rows [cells]; ends count
    fractionally.
    cell_m: side of a cell [m].
    rows: first and past-the-last output row (default all); bounds memory, changes no bit of the result.
    out: five float32 arrays [output rows, columns] to write into (default: new ones).
    NaN where the rectangle leaves the array or covers (weight > 0) a cell without data, or one beyond +-100
    km, which
    can only be an undeclared no-data value. A slope or crown that the rectangle cannot determine (one cell
    wide) is NaN.
    Raises ValueError for a ground that is not 2-D floating point, or for rows or out that do not fit it.
    Weighted least squares on a symmetric lattice; the terms 1, u, v and v^2 - mean(v^2) are orthogonal
    (derived). Sums
    are float64 with about 1e-9 mm error in the mean; results are rounded to float32 (0.03 mm at 500 m).
    """
    start, stop = checked_rows(ground, rows)
    shape = (stop - start, ground.shape[1])
    if out is None:
        out = Planes(*(np.empty(shape, np.float32) for _ in Planes._fields))
    if any(layer.shape != shape or layer.dtype != np.float32 for layer in out):
        raise ValueError(f"out must hold five float32 arrays of shape {shape}")
    moments = rectangle_moments(length_cells, width_cells)
    scales = _scales(moments, float(width_cells), float(cell_m))
    along, across = axis_coverage(length_cells).ends, axis_coverage(width_cells).ends
    checked_reach(along[0])
    whole = along[1:] == across[1:] == (1.0, 0.0)
    grid = tile_grid(ground.shape, (start, stop), along[0])
    tiles = grid[1] * grid[2]
    _planes(tiles, ground, (along, across), scales, (start, stop), grid, tuple(out), None if whole else True)
    return out


def _scales(moments, width_cells: float, cell_m: float) -> tuple[float, ...]:
    """Return the factors that turn moment sums into mean, slopes, mean square and crown (NaN: not
    determined)."""
    inv_along = 1.0 / moments.along if moments.along > 0.0 else np.nan
    inv_across = 1.0 / moments.across if moments.across > 0.0 else np.nan
    has_crown = moments.crown > 1e-9 * moments.area
    return (
        1.0 / moments.area,
        inv_along / cell_m,
        -inv_across / cell_m,  # rows run south
        np.nan_to_num(inv_along) / moments.area,
        np.nan_to_num(inv_across) / moments.area,
        -((width_cells / 2.0) ** 2) / moments.crown if has_crown else np.nan,
        moments.mean_v2,
    )


@shared_singly
def _planes(tile, ground, ends, scales, rows, grid, out, fraction):
    """Write the rows of one tile that are asked for; tiles are fixed to the array, not to `rows`."""
    first, _, along, tile_cols = grid
    reach_u, reach_v = ends[0][0], ends[1][0]
    top, left = (first + tile // along) * TILE_ROWS, tile % along * tile_cols
    bottom, right = min(top + TILE_ROWS, ground.shape[0]), min(left + tile_cols, ground.shape[1])
    block = (max(top, rows[0]) - rows[0], min(bottom, rows[1]) - rows[0], left, right)
    top, bottom = max(top, reach_v), min(bottom, ground.shape[0] - reach_v)
    left, right = max(left, reach_u), min(right, ground.shape[1] - reach_u)
    if top >= bottom or left >= right:
        _blank(out, block)
        return
    window = (top - reach_v, bottom + reach_v, left - reach_u, right + reach_u)
    height, width = window[1] - window[0], window[3] - window[2]
    datum, gaps = tile_datum(ground, window, GROUND_LIMIT_M)
    if gaps == height * width:
        _blank(out, block)
        return
    counts = np.zeros((0, 0), np.int32)
    if gaps > 0:
        ground, counts = gaps_filled(ground, window, datum, GROUND_LIMIT_M)
        window = (0, height, 0, width)
    asked = (max(rows[0] - top, 0), max(min(bottom, rows[1]) - top, 0))
    row = top - rows[0]
    for margin in (
        (block[0], min(max(row, block[0]), block[1]), block[2], block[3]),
        (max(row + bottom - top, block[0]), block[1], block[2], block[3]),
        (block[0], block[1], block[2], left),
        (block[0], block[1], right, block[3]),
    ):
        _blank(out, margin)
    slide_down(ground, window, ends, scales, datum, asked, (row, left), out, fraction)
    if gaps > 0:
        for r in range(asked[0], asked[1]):
            for layer in out:
                blank_gaps(counts, r, reach_u, reach_v, layer[row + r, left:right])


@njit(**INNER)
def _blank(layers, block):
    """Set a block (top, bottom, left, right) of every layer to NaN."""
    for layer in layers:
        layer[block[0] : block[1], block[2] : block[3]] = np.nan
