"""Least-squares plane of a rectangle at every placement, in constant time a placement.

Coverage weights are separable and symmetric, so the two slopes, the quadratic term across and the residual
are sums of
w z, w u z, w v z, w v^2 z and w z^2. Those are sliding sums down the columns (many columns at once) and then
differences of running sums along the row. Both restart at fixed tiles of the array, with the tile's own
datum taken
off first, so nothing drifts over long rows and a result depends neither on threads nor on the rows asked for.
"""

from typing import NamedTuple

import numpy as np
from numba import njit, prange

from tunnelsite.kernels.coverage import axis_coverage, rectangle_moments
from tunnelsite.kernels.tiles import (
    STRIDE,
    TILE_ROWS,
    blank_gaps,
    checked_reach,
    checked_rows,
    gaps_filled,
    tile_datum,
    tile_grid,
)

# Rows of a working buffer, unsigned: an index that cannot be negative needs no test, which leaves loops
# simple enough
# for the compiler to run on several columns at once.
ROW_1, ROW_2, ROW_3, ROW_4 = (
    np.uint64(STRIDE),
    np.uint64(2 * STRIDE),
    np.uint64(3 * STRIDE),
    np.uint64(4 * STRIDE),
)
# Further from zero than any ground on Earth: an undeclared no-data value (1e38 would spoil the sums of its
# tile).
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
    if out is None:
        out = Planes(*(np.empty((stop - start, ground.shape[1]), np.float32) for _ in Planes._fields))
    if any(layer.shape != (stop - start, ground.shape[1]) or layer.dtype != np.float32 for layer in out):
        raise ValueError(f"out must hold five float32 arrays of shape {(stop - start, ground.shape[1])}")
    moments = rectangle_moments(length_cells, width_cells)
    scales = _scales(moments, float(width_cells), float(cell_m))
    along = axis_coverage(length_cells)
    checked_reach(along.reach)
    _planes(ground, along, axis_coverage(width_cells), scales, (start, stop), tuple(out))
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


@njit(cache=True, parallel=True, nogil=True, error_model="numpy")
def _planes(ground, along, across, scales, rows, out):
    """Fill `out` tile by tile; tiles are fixed to the array, not to `rows`."""
    first, down, tiles_along, tile_cols = tile_grid(ground.shape, rows, along[1])
    for tile in prange(down * tiles_along):
        top = (first + tile // tiles_along) * TILE_ROWS
        left = (tile % tiles_along) * tile_cols
        bottom, right = min(top + TILE_ROWS, ground.shape[0]), min(left + tile_cols, ground.shape[1])
        _blank(out, max(top, rows[0]) - rows[0], min(bottom, rows[1]) - rows[0], left, right)
        reach_u, reach_v = along[1], across[1]
        top, bottom = max(top, reach_v), min(bottom, ground.shape[0] - reach_v)
        left, right = max(left, reach_u), min(right, ground.shape[1] - reach_u)
        if top < bottom and left < right:
            _planes_tile(ground, along, across, scales, rows, (top, bottom, left, right), out)


@njit(cache=True, nogil=True)
def _blank(layers, top, bottom, left, right):
    """Set a block of every layer to NaN."""
    for layer in layers:
        layer[top:bottom, left:right] = np.nan


@njit(cache=True, nogil=True, error_model="numpy")
def _planes_tile(ground, along, across, scales, rows, tile, out):
    """Write the placements of one tile (top, bottom, left, right), sliding down row by row."""
    top, bottom, left, right = tile
    reach_u, reach_v = along[1], across[1]
    window = (top - reach_v, bottom + reach_v, left - reach_u, right + reach_u)
    width = window[3] - window[2]
    datum, gaps = tile_datum(ground, window, GROUND_LIMIT_M)
    if gaps == (window[1] - window[0]) * width:
        return
    counts = np.zeros((0, 0), np.int32)
    if gaps > 0:
        ground, counts = gaps_filled(ground, window, datum, GROUND_LIMIT_M)
        window = (0, window[1] - window[0], 0, width)
    columns, running, results = np.zeros(5 * STRIDE), np.zeros(5 * STRIDE), np.zeros(5 * STRIDE, np.float32)
    _start_columns(ground, window, across, datum, columns)
    for r in range(min(bottom, rows[1]) - top):
        if r > 0:
            _slide_columns(ground, window, r - 1, across, datum, columns)
        row = top + r - rows[0]
        if row < 0:
            continue
        _run_along(columns, width, running)
        _finish(columns, running, along, scales, datum, right - left, results)
        _copy_out(results, out, row, left, right - left)
        if gaps > 0:
            for layer in out:
                blank_gaps(counts, r, reach_u, reach_v, layer[row, left:right])


@njit(cache=True, nogil=True, error_model="numpy")
def _start_columns(ground, window, across, datum, columns):
    """Set `columns` to the weighted sums of z, v z, v^2 z and z^2 of the first row, and to the column
    number."""
    full, reach, edge = across
    for k in range(-reach, reach + 1):
        line = ground[window[0] + reach + k, window[2] : window[3]]
        v, w = np.float64(k), 1.0 if abs(k) <= full else edge
        w = 2.0 * edge if full < 0 else w
        for c in range(line.size):
            z = line[c] - datum
            columns[c] += w * z
            columns[STRIDE + c] += w * v * z
            columns[2 * STRIDE + c] += w * v * v * z
            columns[3 * STRIDE + c] += w * z * z
    for c in range(window[3] - window[2]):
        columns[4 * STRIDE + c] = c


@njit(cache=True, nogil=True, error_model="numpy", fastmath={"contract"})
def _slide_columns(ground, window, r, across, datum, columns):
    """Move the column sums of placement row `r` on to the next row.

    Seen from the new middle, two rows below gain weight (`edge`, then the rest of 1) and two above lose it;
    without a
    fractional end, or under one cell, the outer pair has no weight and its row is only kept within the
    window.
    """
    full, reach, edge = across
    middle = window[0] + r + reach + 1
    n, w_out, w_in = full, edge, 1.0 - edge
    if full < 0:
        n, w_out, w_in = 0, 0.0, 2.0 * edge
    ra, rb = np.uint64(min(middle + n + 1, window[1] - 1)), np.uint64(middle + n)
    rc, rd = np.uint64(middle - n - 1), np.uint64(max(middle - n - 2, window[0]))
    i, left = np.float64(n), np.uint64(window[2])
    v1, v2, v3, v4 = w_out * (i + 1.0), w_in * i, w_in * (i + 1.0), w_out * (i + 2.0)
    s1, s2, s3, s4 = v1 * (i + 1.0), v2 * i, v3 * (i + 1.0), v4 * (i + 2.0)
    for c in range(np.uint64(window[3] - window[2])):
        d1, d2 = ground[ra, left + c] - datum, ground[rb, left + c] - datum
        d3, d4 = ground[rc, left + c] - datum, ground[rd, left + c] - datum
        t0, t1 = columns[c], columns[c + ROW_1]
        columns[c] = t0 + (w_out * (d1 - d4) + w_in * (d2 - d3))
        columns[c + ROW_1] = t1 - t0 + ((v1 * d1 + v2 * d2) + (v3 * d3 + v4 * d4))
        columns[c + ROW_2] += t0 - 2.0 * t1 + ((s1 * d1 + s2 * d2) - (s3 * d3 + s4 * d4))
        columns[c + ROW_3] += w_out * (d1 * d1 - d4 * d4) + w_in * (d2 * d2 - d3 * d3)


@njit(cache=True, nogil=True, error_model="numpy", fastmath={"contract"})
def _run_along(columns, width, running):
    """Set `running` to running sums along the row: of the four column sums, and of column number times the
    first."""
    s0, s1, s2, sq, sx, x = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    one = np.uint64(1)
    for c in range(np.uint64(width)):
        t = columns[c]
        s0 += t
        s1 += columns[c + ROW_1]
        s2 += columns[c + ROW_2]
        sq += columns[c + ROW_3]
        sx += x * t
        x += 1.0
        running[c + one] = s0
        running[c + one + ROW_1] = s1
        running[c + one + ROW_2] = s2
        running[c + one + ROW_3] = sq
        running[c + one + ROW_4] = sx


@njit(cache=True, nogil=True, error_model="numpy", fastmath={"contract"})
def _finish(columns, running, along, scales, datum, count, results):
    """Turn column sums and running sums into the five results of a row of placements."""
    full, reach, edge = along
    low, high = np.uint64(reach - max(full, 0)), np.uint64(reach + full + 1)
    middle, far = np.uint64(reach), np.uint64(2 * reach)
    per_area, per_u, per_v, square_u, square_v, per_crown, mean_v2 = scales
    moment = edge * reach
    for c in range(np.uint64(count)):
        p, q, e = c + low, c + high, c + far
        inner = running[q] - running[p]
        m0 = inner + edge * (columns[c] + columns[e])
        mu = (running[q + ROW_4] - running[p + ROW_4]) - columns[c + middle + ROW_4] * inner
        mu += moment * (columns[e] - columns[c])
        mv = (running[q + ROW_1] - running[p + ROW_1]) + edge * (columns[c + ROW_1] + columns[e + ROW_1])
        m2 = (running[q + ROW_2] - running[p + ROW_2]) + edge * (columns[c + ROW_2] + columns[e + ROW_2])
        mq = (running[q + ROW_3] - running[p + ROW_3]) + edge * (columns[c + ROW_3] + columns[e + ROW_3])
        level = m0 * per_area
        square = mq * per_area - level * level - mu * mu * square_u - mv * mv * square_v
        results[c] = datum + level
        results[c + ROW_1] = mu * per_u
        results[c + ROW_2] = mv * per_v
        results[c + ROW_3] = np.sqrt(np.float32(square if square > 0.0 else 0.0))
        results[c + ROW_4] = (m2 - mean_v2 * m0) * per_crown


@njit(cache=True, nogil=True)
def _copy_out(results, out, row, left, count):
    """Copy the five runs of results into a row of the output layers."""
    r, a = np.uint64(row), np.uint64(left)
    for k in range(5):
        layer, offset = out[k], np.uint64(k * STRIDE)
        for c in range(np.uint64(count)):
            layer[r, a + c] = results[offset + c]
