"""Earthwork of a pad graded to its own tilted plane, for a list of placements.

The design plane is the least-squares plane of the natural ground of the pad, each slope clipped to what a finished pad may have,
its level set so that the cut makes up the fill. A result depends on nothing but its own ground, to the bit.

The ground is that which a blade meets (`kernels.terrain.blade`), and of what lies off its plane as much is taken away as errors of the
elevations alone would show: what is left keeps its shape and has the mean square that is left. A lone thing (a stump, a boulder, a
hole; `kernels.terrain.lone_things`) is real and stays whole. The pad is graded to the plane of what is left. Depths are
looked for over the very pad, to its edges and corners, on ground that is bilinear between heights.
"""

from typing import NamedTuple

import numpy as np

from tunnelsite.kernels.compiled import njit
from tunnelsite.kernels.coverage import SNAP_CELLS, axis_weights, rectangle_moments
from tunnelsite.kernels.options import INNER
from tunnelsite.kernels.shared import shared_singly
from tunnelsite.kernels.terrain.blade import blade_ground, blade_step
from tunnelsite.kernels.terrain.judged_pad import grade_alone
from tunnelsite.kernels.terrain.lanes import LANES
from tunnelsite.kernels.terrain.lone_things import lone_reach, lone_things, touched
from tunnelsite.kernels.terrain.pads_abreast import (
    CUT,
    EAST,
    KEPT,
    LEVEL,
    MAX_CUT,
    MAX_FILL,
    RIPPLE,
    SHOWN,
    SOUTH,
    grade_abreast,
)

# 3/4 in per 12 ft, finished pad: common practice, no source.
FINISHED_SLOPE = 1.0 / 192.0
_BATCH, _BLOCK, _ROUND = 512, 64, LANES


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
    lone_sd_m: float | None = None,
) -> Grading:
    """Return the cut and fill that grade the pad at each placement to a clipped least-squares plane.

    ground: elevations [rows, columns] [m], float32 or float64, NaN = no data.
    rows, cols: centre cell of each placement, integers [placements].
    pad_length_cells, pad_width_cells: pad along the columns and along the rows [cells]; ends count
    fractionally.
    cell_m: side of a cell [m]. max_slope: largest finished slope in either direction [fraction].
    shrink: cubic metres of cut that make one of compacted fill; the level solves cut = shrink * fill.
    ripple_m: root mean square off the plane that is taken for error of the elevations [placements] or one for all [m].
    lone_sd_m: see `kernels.terrain.lone_things`; lone things stay whole whatever is taken for error. None: nothing is taken for one.
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
    out = np.empty((len(Grading._fields), rows.size))
    if not rows.size:
        return Grading(*out)
    ripple = np.nan_to_num(
        np.broadcast_to(np.asarray(ripple_m, np.float64), rows.shape)
    )  # not known: nothing is taken off
    step = blade_step(cell_m)
    pad = _pad(pad_length_cells / step, pad_width_cells / step, step)
    spare = [(low + 1) * step + more for low, more in zip(pad.low, (_ROUND, 0), strict=True)]
    felt, lone, top = _ground(ground, (int(rows.min()), int(rows.max())), cell_m, spare, lone_sd_m)
    alone = touched(lone, pad.low, pad.half, step) if lone.size else np.zeros((0, 0), bool)
    node_m = cell_m * step
    asked = (float(max_slope) * node_m, float(shrink))
    centres = np.stack([rows - top + spare[1], cols + spare[0]])
    _grade(-(-rows.size // _BATCH), (felt, lone), alone, centres, ripple, pad.weights, tuple(pad[1:]), asked, out)
    found = Grading(*out)
    for volumes in (found.cut_m3, found.fill_m3):
        volumes *= node_m * node_m
    found.slope_along[:] /= node_m
    found.slope_across[:] /= -node_m  # rows run south
    return found


def _ground(ground, rows, cell_m, spare, lone_sd_m):
    """The ground as a blade meets it less lone things, those things (or an empty array: none), both wider by `spare` cells (along, across)
    on every side, NaN and 0 beyond the ground; the row of the ground where it starts."""
    more = 0 if lone_sd_m is None else lone_reach(cell_m)
    top, bottom = max(rows[0] - spare[1] - more, 0), min(rows[1] + spare[1] + more + 1, ground.shape[0])
    felt, lone = blade_ground(ground, cell_m, (top, bottom)), np.zeros((0, 0), np.float32)
    if lone_sd_m is not None:
        found = lone_things(felt, cell_m, lone_sd_m)
        if found.any():
            felt, lone = felt - found, np.pad(found, (spare[1:] * 2, spare[:1] * 2))
    return np.pad(felt, (spare[1:] * 2, spare[:1] * 2), constant_values=np.nan), lone, top


class _Pad(NamedTuple):
    """What the kernels ask of a pad.

    weights: of the lines of heights along and across it [2, the most of either]. reach: how many of them either side of the middle have
    a weight; low: how many lie on the pad. moments: its area and one over the sums of w u^2 and w v^2 (0: no slope). half: half
    its size. step: cells from one height to the next. All else in heights, first along, then across.
    """

    weights: np.ndarray
    reach: tuple[int, int]
    low: tuple[int, int]
    moments: tuple[float, float, float]
    half: tuple[float, float]
    step: int


def _pad(length: float, width: float, step: int) -> _Pad:
    lines, sizes = [axis_weights(size) for size in (length, width)], (length, width)
    weights = np.zeros((2, max(line.size for line in lines)))
    for row, line in zip(weights, lines, strict=True):
        row[: line.size] = line
    area, *squares = rectangle_moments(length, width)[:3]
    inverse = [1.0 / square if square > 0.0 else 0.0 for square in squares]
    low = tuple(int(size / 2.0 + SNAP_CELLS) for size in sizes)
    # a pad that ends at a height, but for rounding, ends there
    half = tuple(
        max(size / 2.0, n) if size / 2.0 - n > SNAP_CELLS else float(n) for n, size in zip(low, sizes, strict=True)
    )
    return _Pad(weights, tuple(line.size // 2 for line in lines), low, (area, *inverse), half, step)


@shared_singly
def _grade(batch, grounds, alone, centres, ripple, weights, pad, asked, out):
    """Fill a batch of placements of `out`: those that follow each other along a row together."""
    felt, lone = grounds
    span = (batch * _BATCH, min((batch + 1) * _BATCH, centres.shape[1]))
    length = (2 * pad[0][0] + 1) * pad[4]
    sums, shown = np.empty((3, _BLOCK + length + 2 * _ROUND)), np.empty((SHOWN, _BLOCK))
    first = span[0]
    while first < span[1]:
        end, left, right = _run(centres, first, span[1])
        row, block = centres[0, first], left // _BLOCK * _BLOCK
        start, count = left // _ROUND * _ROUND, (right // _ROUND - left // _ROUND + 1) * _ROUND
        shown[RIPPLE, :count] = 0.0
        for k in range(first, end):
            shown[RIPPLE, centres[1, k] - start] = ripple[k]
        datum = _datum(felt[row, block : block + _BLOCK])
        grade_abreast(felt, row * felt.shape[1] + start, count, datum, weights, pad, asked[0], sums, shown)
        for k in range(first, end):
            centre, known = (row, centres[1, k]), abs(shown[LEVEL, centres[1, k] - start]) < np.inf
            if known and (asked[1] != 1.0 or (alone.size > 0 and alone[centre])):
                told = grade_alone(felt, lone, centre, weights, pad, asked, ripple[k])
                for n in range(out.shape[0]):
                    out[n, k] = told[n]
            else:
                _tell(shown, centres[1, k] - start, datum, asked[0], out, k)
        first = end


@njit(**INNER)
def _run(centres, first, last):
    """Return where a run of placements close to each other in one block of a row ends, and its first and last column."""
    left = right = centres[1, first]
    end = first + 1
    while (
        end < last
        and centres[0, end] == centres[0, first]
        and centres[1, end] // _BLOCK == left // _BLOCK
        and abs(centres[1, end] - centres[1, end - 1]) <= _ROUND
    ):
        left, right = min(left, centres[1, end]), max(right, centres[1, end])
        end += 1
    return end, left, right


@njit(**INNER)
def _datum(line):
    """Return the first height that is known: it is the same whatever is asked, and heights near it keep their digits."""
    for height in line:
        if abs(height) < np.inf:
            return np.float64(height)
    return 0.0


@njit(**INNER)
def _tell(shown, lane, datum, steepest, out, k):
    """Write what was found of one pad of a run: as `Grading`, slopes to the east and south."""
    out[0, k] = out[1, k] = shown[CUT, lane]
    out[2, k], out[3, k], out[4, k] = shown[MAX_CUT, lane], shown[MAX_FILL, lane], datum + shown[LEVEL, lane]
    out[5, k] = min(max(shown[EAST, lane], -steepest), steepest)
    out[6, k] = min(max(shown[SOUTH, lane], -steepest), steepest)
    out[7, k] = shown[KEPT, lane]
    if not abs(shown[LEVEL, lane]) < np.inf:
        out[:, k] = np.nan
