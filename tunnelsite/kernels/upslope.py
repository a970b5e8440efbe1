"""How much drains through each cell by single directions (D8), and the topographic wetness that follows.

Arrays are [row, col], row 0 = north; directions are the codes of `flow`.
"""

import math

import numpy as np
from numba import njit, prange

from tunnelsite.kernels.fill import LARGEST, without_rim
from tunnelsite.kernels.flow import BACK, CODE, COL_STEP, NO_DATA, OUTLET, ROW_STEP, spacing

# rows that one thread follows; fixed, so that sums of weights do not depend on the number of threads
_BLOCK = 128


@njit(cache=True, parallel=True, nogil=True)
def _inflows(direction, inflows, is_open):
    # direction has a rim of NO_DATA. How many neighbours drain into each cell, and which cells border the
    # unknown.
    rows, cols = direction.shape
    bad = 0
    for row in prange(1, rows - 1):
        for col in range(1, cols - 1):
            code = direction[row, col]
            if code == NO_DATA:
                continue
            if code & (code - np.uint8(1)):
                bad += 1
            count = np.uint8(0)
            beside = False
            for k in range(8):
                other = direction[row + ROW_STEP[k], col + COL_STEP[k]]
                count += np.uint8(other == BACK[k])
                beside |= other == NO_DATA
            inflows[row, col] = count
            is_open[row, col] = beside
    return bad


@njit(inline="always")
def _follow(start, first, last, step, direction, inflows, is_open, total):
    # Hand a finished cell's water on, and go on as long as that finishes the next one; stay within cells
    # first..last.
    cell = start
    while True:
        code = direction[cell]
        below = cell + step[code]
        if code != OUTLET and direction[below] != NO_DATA:
            if below < first or below >= last:
                return
            total[below] += total[cell]
            is_open[below] |= is_open[cell]
            inflows[below] -= np.uint8(1)
            inflows[cell] = NO_DATA  # done
            if inflows[below]:
                return
            cell = below
        else:
            inflows[cell] = NO_DATA
            return


@njit(cache=True, parallel=True, nogil=True)
def _accumulate(direction, inflows, is_open, total):
    """Sum total (in place) down the directions; return how many cells lie on a loop or below one.

    Blocks of rows are followed side by side; water that leaves a block waits in the block's first or last row
    until all are done, then it is followed in one go.
    """
    rows, cols = direction.shape
    step = np.zeros(256, np.int64)
    for k in range(8):
        step[CODE[k]] = ROW_STEP[k] * cols + COL_STEP[k]
    direction, inflows, is_open, total = direction.ravel(), inflows.ravel(), is_open.ravel(), total.ravel()
    blocks = (rows + _BLOCK - 1) // _BLOCK
    for block in prange(blocks):
        first = block * _BLOCK * cols
        last = min(first + _BLOCK * cols, rows * cols)
        for cell in range(first, last):
            if inflows[cell] == 0 and direction[cell] != NO_DATA:
                _follow(cell, first, last, step, direction, inflows, is_open, total)
    for block in range(blocks):
        for row in (block * _BLOCK, min((block + 1) * _BLOCK, rows) - 1):
            for cell in range(row * cols, (row + 1) * cols):
                if inflows[cell] == 0 and direction[cell] != NO_DATA:
                    _follow(cell, 0, rows * cols, step, direction, inflows, is_open, total)
    stuck = 0
    for row in prange(rows):
        for cell in range(row * cols, (row + 1) * cols):
            stuck += direction[cell] != NO_DATA and inflows[cell] != NO_DATA
    return stuck


def upslope_cells(direction):
    """Return how many cells drain through each cell, and where that number is only a lower bound.

    Arguments: direction: (rows, cols) uint8 codes from `flow_direction`.
    Returns:
        cells: (rows, cols) int32, the cell itself included; 0 = no data.
        open_edge: (rows, cols) bool, True where any of that water comes over a cell on the raster edge or
            beside no data: more may come from outside, so the number is a LOWER bound.
    Raises: ValueError: direction is not a two-dimensional array of these codes, or runs in a loop.
    """
    direction, inflows, is_open = _traced(direction)
    total = np.ones(direction.shape, np.int32)
    _summed(direction, inflows, is_open, total)
    del inflows  # these arrays are the largest of a whole screening, so each goes as soon as it can
    total[direction == NO_DATA] = 0
    del direction
    return without_rim(total), without_rim(is_open)


def upslope_sum(direction, weights):
    """Return the sum of a quantity over all cells that drain through each cell, itself included.

    Arguments: direction: (rows, cols) uint8 codes; weights: (rows, cols) amount each cell sheds, in any unit.
    Returns: (rows, cols) float64 in the unit of the weights; NaN where there is no data. A weight of NaN
        makes all below it NaN.
    Raises: ValueError as `upslope_cells`, or weights of another shape.
    """
    if np.shape(weights) != np.shape(direction):
        raise ValueError(f"weights have shape {np.shape(weights)}, directions {np.shape(direction)}; expected the same")
    direction, inflows, is_open = _traced(direction)
    total = np.full(direction.shape, np.nan)
    total[1:-1, 1:-1] = weights
    _summed(direction, inflows, is_open, total)
    total[direction == NO_DATA] = np.nan
    return np.ascontiguousarray(total[1:-1, 1:-1])


def upslope_area(direction, cell_m, cell_north_m=None):
    """Return the area that drains through each cell, its own included [m2], and where it is only a lower
    bound.

    Arguments: direction: (rows, cols) uint8 codes; cell_m, cell_north_m: spacing [m] as in `flow_direction`.
    Returns: area_m2: (rows, cols) float64, NaN = no data; open_edge: (rows, cols) bool, see `upslope_cells`.
    Raises: ValueError as `upslope_cells` and `flow_direction`.
    """
    east, north = spacing(cell_m, cell_north_m)
    cells, open_edge = upslope_cells(direction)
    return np.where(cells > 0, cells * (east * north), np.nan), open_edge


def wetness(area_m2, slope, cell_m, least_slope=0.001):
    """Return the topographic wetness index ln(a / tan b).

    Arguments:
        area_m2: (rows, cols) contributing area [m2], from `upslope_area` or `dinfinity.upslope_area_dinf`.
        slope: (rows, cols) Horn slope tan b [rise over run], from `terrain.slope`.
        cell_m: spacing of square cells [m], taken as the contour length: a = area_m2 / cell_m [m].
        least_slope: floor of tan b [rise over run]; level ground would be infinitely wet.
    Returns: (rows, cols) index [-], NaN where either input is NaN. It compares places, it measures nothing;
        where the area is a lower bound, so is the index.
    Raises: ValueError: shapes differ, or cell_m or least_slope is not a positive number.
    Source: Beven & Kirkby (1979) Hydrological Sciences Bulletin 24(1):43-69 (memory). The floor is a
        convention, no source.
    """
    east, _ = spacing(cell_m)
    if not (math.isfinite(least_slope) and least_slope > 0):
        raise ValueError(f"least_slope is {least_slope}; expected a positive rise over run, for example 0.001")
    if np.shape(area_m2) != np.shape(slope):
        raise ValueError(f"area_m2 has shape {np.shape(area_m2)}, slope {np.shape(slope)}; expected the same")
    return np.log(np.asarray(area_m2) / east / np.maximum(slope, least_slope))


def _traced(direction):
    # Directions with a rim, the number of inflows and the cells that border the unknown.
    given = np.asarray(direction)
    if given.ndim != 2 or given.dtype != np.uint8 or (given.shape[0] + 2) * (given.shape[1] + 2) > LARGEST:
        raise ValueError(
            f"direction is {given.dtype} of shape {given.shape}; expected rows x columns of uint8 codes "
            f"from flow_direction, at most {LARGEST} cells"
        )
    direction = np.pad(given, 1, constant_values=NO_DATA)
    inflows, is_open = np.zeros(direction.shape, np.uint8), np.zeros(direction.shape, np.bool_)
    bad = _inflows(direction, inflows, is_open)
    if bad:
        raise ValueError(f"{bad} cells hold no direction code; expected 0, 1, 2, 4, 8, 16, 32, 64, 128 or 255")
    return direction, inflows, is_open


def _summed(direction, inflows, is_open, total):
    stuck = _accumulate(direction, inflows, is_open, total)
    if stuck:
        raise ValueError(f"the directions run in a loop ({stuck} cells never drain); make them with flow_direction")
