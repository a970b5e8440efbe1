"""Earthwork of a pad graded to its own tilted plane, for a list of placements.

The design plane is the least-squares plane of the natural ground of the pad, each slope clipped to what a finished pad may have,
its level set so that the cut makes up the fill. Each placement is summed on its own, cell by cell, so a result depends on
nothing but its own ground.

The ground is that which a blade meets (`kernels.terrain.blade`), and of what lies off its plane as much is taken away as errors of the
elevations alone would show: what is left keeps its shape and has the mean square that is left; what stands out farther than
errors reach (a stump, a ditch) stays by what it is beyond them. Depths are looked for over the very
pad, to its edges and corners, on ground that is bilinear between heights.
"""

from typing import NamedTuple

import numpy as np
from numba import njit, prange

from tunnelsite.kernels.coverage import axis_weights, rectangle_moments
from tunnelsite.kernels.terrain.blade import blade_ground, blade_step
from tunnelsite.kernels.terrain.deepest import deepest, edge_count, edge_depths, only_within

# 3/4 in per 12 ft, finished pad: common practice, no source.
FINISHED_SLOPE = 1.0 / 192.0
# Errors do not reach farther than so many of their deviations off a plane: one height in 700 (normal).
FARTHEST = 3.0
_BATCH = 256
_MAX_STEPS = 60


class Grading(NamedTuple):
    """Earthwork of each placement, float64 arrays [placements]; NaN where the pad is not wholly on known
    ground."""

    cut_m3: np.ndarray
    fill_m3: np.ndarray
    max_cut_m: np.ndarray  # deepest cut anywhere on the pad, 0 if none
    max_fill_m: np.ndarray
    level_m: np.ndarray  # design elevation at the centre of the pad
    slope_along: np.ndarray  # design rise to the east, fraction
    slope_across: np.ndarray  # design rise to the north, fraction
    kept: np.ndarray  # share of the ground's height off its plane that is taken for ground, the rest for error


def graded_pads(
    ground: np.ndarray,
    rows: np.ndarray,
    cols: np.ndarray,
    pad_length_cells: float,
    pad_width_cells: float,
    cell_m: float,
    max_slope: float = FINISHED_SLOPE,
    shrink: float = 1.0,
    ripple_m: np.ndarray | float = 0.0,
) -> Grading:
    """Return the cut and fill that grade the pad at each placement to a clipped least-squares plane.

    ground: elevations [rows, columns] [m], float32 or float64, NaN = no data.
    rows, cols: centre cell of each placement, integers [placements].
    pad_length_cells, pad_width_cells: pad along the columns and along the rows [cells]; ends count
    fractionally.
    cell_m: side of a cell [m]. max_slope: largest finished slope in either direction [fraction].
    shrink: cubic metres of cut that make one of compacted fill; the level solves cut = shrink * fill.
    ripple_m: root mean square off the plane that is taken for error of the elevations [placements] or one for all [m].
    NaN for a pad that leaves the array or covers (weight > 0) a cell without data; a pad one cell wide is
    level across.
    Raises ValueError for settings or indices that cannot be meant.
    Volumes are area-weighted sums of differences at the middle of each cell (grid method; prisms of one cell each).
    Balanced plane:
    least-squares land grading [@scaloppi-willardson-1986]; clipping and shrink are added here.
    """
    rows, cols = np.ascontiguousarray(rows, np.int64), np.ascontiguousarray(cols, np.int64)
    if rows.shape != cols.shape or rows.ndim != 1:
        raise ValueError(f"rows {rows.shape} and cols {cols.shape} must be 1-D and equally long: one centre cell each")
    if ground.ndim != 2 or ground.dtype not in (np.float32, np.float64):
        raise ValueError(f"ground is {ground.ndim}-D {ground.dtype}; expected 2-D float32 or float64 (NaN = no data)")
    if not (cell_m > 0.0 and shrink > 0.0 and np.isfinite(shrink) and max_slope >= 0.0):
        raise ValueError(f"cell_m {cell_m}, shrink {shrink} must be positive and max_slope {max_slope} not negative")
    if rows.size and (
        rows.min() < 0 or cols.min() < 0 or rows.max() >= ground.shape[0] or cols.max() >= ground.shape[1]
    ):
        raise ValueError(f"a placement lies outside the ground of {ground.shape} cells")
    out = Grading(*(np.empty(rows.size) for _ in Grading._fields))
    if not rows.size:
        return out
    ripple = np.nan_to_num(
        np.broadcast_to(np.asarray(ripple_m, np.float64), rows.shape)
    )  # not known: nothing is taken off
    step = blade_step(cell_m)
    pad = _pad(pad_length_cells / step, pad_width_cells / step)
    reach = (pad.reach[1] + 1) * step
    top, bottom = max(int(rows.min()) - reach, 0), min(int(rows.max()) + reach + 1, ground.shape[0])
    felt = np.ascontiguousarray(blade_ground(ground, cell_m, (top, bottom)))
    node_m = cell_m * step
    settings = (float(max_slope) * node_m, float(shrink), float(node_m), step)
    _grade(felt, np.stack([rows - top, cols]), ripple, *pad, settings, tuple(out))
    return out


class _Pad(NamedTuple):
    """The pad's cells as flat arrays w, u, v; its reach in cells; one over its moments (0: no slope); half its size in cells."""

    cells: np.ndarray
    reach: tuple[int, int]
    inverse: tuple[float, float, float]
    half: tuple[float, float]


def _pad(length_cells: float, width_cells: float) -> _Pad:
    along, across = axis_weights(length_cells), axis_weights(width_cells)
    reach_u, reach_v = along.size // 2, across.size // 2
    v, u = np.mgrid[-reach_v : reach_v + 1, -reach_u : reach_u + 1].astype(np.float64)
    moments = rectangle_moments(length_cells, width_cells)
    inverse = tuple(1.0 / m if m > 0.0 else 0.0 for m in moments[:3])
    cells = np.stack([np.outer(across, along).ravel(), u.ravel(), v.ravel()])
    return _Pad(cells, (reach_u, reach_v), inverse, (length_cells / 2.0, width_cells / 2.0))


@njit(cache=True, parallel=True, nogil=True, error_model="numpy")
def _grade(ground, centres, ripple, cells, reach, inverse, half, settings, out):
    """Fill `out`, a batch of placements at a time."""
    count = centres.shape[1]
    for batch in prange((count + _BATCH - 1) // _BATCH):
        span = (batch * _BATCH, min((batch + 1) * _BATCH, count))
        _grade_batch(ground, centres, ripple, (cells, reach, inverse, half), settings, span, out)


@njit(cache=True, nogil=True, error_model="numpy")
def _grade_batch(ground, centres, ripple, pad, settings, span, out):
    """Fill the placements `span` of `out`; heights are counted from the centre cell, so the sea level costs
    no digits."""
    cells, (reach_u, reach_v), inverse, half = pad
    steepest, shrink, node_m, step = settings
    down, right = reach_v * step, reach_u * step
    count = cells.shape[1]
    heights, depths = np.empty(count), np.empty((2, count + edge_count(half)))
    for k in range(span[0], span[1]):
        r, c = centres[0, k], centres[1, k]
        level, east, south, kept = np.nan, 0.0, 0.0, 1.0
        if down <= r < ground.shape[0] - down and right <= c < ground.shape[1] - right:
            _copy_pad(ground, r, c, (reach_u, reach_v, step), heights)
            level, east, south, square = _plane(heights, cells, inverse)
            kept = _kept(square, ripple[k])
        if not abs(level) < np.inf:
            for layer in out:
                layer[k] = np.nan
            continue
        tilt_east, tilt_south = min(max(east, -steepest), steepest), min(max(south, -steepest), steepest)
        planes = depth_planes((level, east, south), (level, tilt_east, tilt_south), kept, FARTHEST * ripple[k])
        raised = 0.0
        if shrink != 1.0:
            raised = _balance(heights, cells, planes[0], shrink)
            planes = depth_planes(
                (level, east, south), (level + raised, tilt_east, tilt_south), kept, FARTHEST * ripple[k]
            )
        cut, fill = _earthwork(heights, cells, planes, depths)
        only_within(depths, (reach_u, reach_v), half)
        edge_depths(ground, (r, c, step), heights, (reach_u, reach_v), half, planes, depths, count)
        out[0][k], out[1][k] = cut * node_m * node_m, fill * node_m * node_m
        out[2][k], out[3][k] = deepest(depths[0]), deepest(depths[1])
        out[4][k] = np.float64(ground[r, c]) + level + raised
        out[5][k], out[6][k] = tilt_east / node_m, -tilt_south / node_m  # rows run south
        out[7][k] = kept


@njit(cache=True, nogil=True)
def depth_planes(natural, design, kept, most):
    """Return what depths are counted from: (share kept of the heights, level, rise east, rise south), the design plane less what
    of the natural one is not kept; the design plane itself; how far errors reach."""
    lost = 1.0 - kept
    level, east, south = design
    return (kept, level - lost * natural[0], east - lost * natural[1], south - lost * natural[2]), design, most


@njit(cache=True, nogil=True, error_model="numpy")
def _kept(square, ripple):
    """Return the factor that leaves of a mean square what errors do not explain."""
    spare = square - ripple * ripple
    return np.sqrt(spare / square) if spare > 0.0 else (0.0 if ripple > 0.0 else 1.0)


@njit(cache=True, nogil=True, error_model="numpy")
def _copy_pad(ground, r, c, reach, heights):
    """Copy the pad's heights, less the centre cell's, into one run."""
    reach_u, reach_v, step = reach
    datum = np.float64(ground[r, c])
    wide = 2 * reach_u + 1
    for i in range(2 * reach_v + 1):
        line = ground[r + (i - reach_v) * step, c - reach_u * step : c + reach_u * step + 1]
        target = heights[i * wide : (i + 1) * wide]
        if step == 1:
            for j in range(wide):
                target[j] = line[j] - datum
        else:
            for j in range(wide):
                target[j] = line[j * step] - datum


# Sums may be taken in any order here (it depends only on the size of the pad); NaN must still spread.
@njit(cache=True, nogil=True, error_model="numpy", fastmath={"reassoc", "contract"})
def _plane(heights, cells, inverse):
    """Return the weighted mean, the rises a cell to the east and to the south, and the mean square off that plane."""
    w, u, v = cells[0], cells[1], cells[2]
    s0, su, sv, sq = 0.0, 0.0, 0.0, 0.0
    for i in range(heights.size):
        wz = w[i] * heights[i]
        s0 += wz
        su += u[i] * wz
        sv += v[i] * wz
        sq += heights[i] * wz
    square = (sq - s0 * s0 * inverse[0] - su * su * inverse[1] - sv * sv * inverse[2]) * inverse[0]
    return s0 * inverse[0], su * inverse[1], sv * inverse[2], max(square, 0.0)


# Called with finite heights only, so the flags on NaN and on the sign of zero change nothing.
@njit(cache=True, nogil=True, error_model="numpy", fastmath={"reassoc", "contract", "nnan", "nsz"})
def _earthwork(heights, cells, planes, depths):
    """Return cut and fill [cells x m]; leave the depth of each cell's cut and fill, or 0, in `depths`."""
    w, u, v = cells[0], cells[1], cells[2]
    (kept, level, east, south), (true_level, true_east, true_south), most = planes
    cuts, fills = depths[0], depths[1]
    cut, fill = 0.0, 0.0
    for i in range(heights.size):
        d = kept * heights[i] - (level + east * u[i] + south * v[i])
        up = d if d > 0.0 else 0.0
        down = up - d
        over = heights[i] - (true_level + true_east * u[i] + true_south * v[i])
        cuts[i] = max(up, over - most)
        fills[i] = max(down, -over - most)
        cut += w[i] * up
        fill += w[i] * down
    return cut, fill


@njit(cache=True, nogil=True, error_model="numpy", fastmath={"reassoc", "contract", "nnan", "nsz"})
def _balance(heights, cells, plane, shrink):
    """Return how far to raise the plane so that cut = shrink * fill.

    Newton on g(t) = cut(t) - shrink fill(t), which falls, is piecewise linear and has no turning in its bend
    (concave
    for shrink > 1, convex below): after the first step it nears the root from one side and ends on it
    exactly.
    """
    w, u, v = cells[0], cells[1], cells[2]
    kept, level, east, south = plane
    raised = 0.0
    for _ in range(_MAX_STEPS):
        gap, pull, size = 0.0, 0.0, 0.0
        for i in range(heights.size):
            d = kept * heights[i] - (level + raised + east * u[i] + south * v[i])
            weight = w[i] if d > 0.0 else w[i] * shrink
            gap += weight * d
            pull += weight
            size += weight * abs(d)
        raised += gap / pull
        if abs(gap) <= 1e-14 * size:
            break
    return raised
