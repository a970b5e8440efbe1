"""How much drains through each cell by single directions (D8), and the topographic wetness that follows.

Arrays are [row, col], row 0 = north; directions are the codes of `flow`.
"""

import math

import numpy as np

from tunnelsite.kernels.compiled import njit
from tunnelsite.kernels.one_thread import one_thread
from tunnelsite.kernels.options import INNER
from tunnelsite.kernels.shared import shared, shared_singly
from tunnelsite.kernels.water.fill import refuse_larger, without_rim
from tunnelsite.kernels.water.flow import CODE, COL_STEP, NO_DATA, ROW_STEP, spacing

# rows that one thread follows; fixed, so that sums of weights do not depend on the number of threads
_BLOCK = 128
_ABREAST = 16  # rows whose finished cells are followed together
# State of a cell while water is followed: how many inflows are not known yet; whether it, or any cell that drains to it, borders
# the unknown; whether its water was handed on.
_WAITING, _OPEN, _DONE = 0x0F, 0x40, 0x80


@shared
def _inflows(mine, direction, state):
    """Find how many neighbours drain into each cell and which cells border the unknown; return how many hold no code.

    direction has a rim of NO_DATA or of cells that are not looked at, state one of _DONE.
    """
    bad = 0
    for row in range(1 + mine[0], 1 + mine[1]):
        a, b, c = direction[row - 1], direction[row], direction[row + 1]
        nw, n, ne, w, o, e = a[:-2], a[1:-1], a[2:], b[:-2], b[1:-1], b[2:]
        sw, s, se = c[:-2], c[1:-1], c[2:]
        out, wrong = state[row, 1:-1], np.int32(0)
        for k in range(o.size):
            code = o[k]
            count = (e[k] == 16) + (s[k] == 64) + (w[k] == 1) + (n[k] == 4)
            count += (se[k] == 32) + (sw[k] == 128) + (nw[k] == 2) + (ne[k] == 8)
            beside = (e[k] == NO_DATA) | (s[k] == NO_DATA) | (w[k] == NO_DATA) | (n[k] == NO_DATA)
            beside |= (se[k] == NO_DATA) | (sw[k] == NO_DATA) | (nw[k] == NO_DATA) | (ne[k] == NO_DATA)
            out[k] = _DONE if code == NO_DATA else count | (_OPEN if beside else 0)
            wrong += code != NO_DATA and code & (code - 1) != 0
        bad += wrong
    return bad


@njit(**INNER)
def _follow(heads, count, first, last, step, direction, state, total):
    """Hand the water of the finished cells heads[:count] on, and that of those which this finishes, within cells first..last.

    Cell by cell, one step down each, round by round: steps of different cells do not wait for each other, and no branch has to guess
    whether a cell is finished. Every round leaves as many heads as the one before or fewer.
    """
    while count > 0:
        left = 0
        for k in range(count):
            cell = np.uint64(heads[k])
            below = cell + step[direction[cell]]
            if below < first or below >= last:  # unsigned, as all places here: none has to be tested for being negative
                continue
            mine, waiting = state[cell], state[below]
            state[cell] = mine | _DONE
            if below == cell or waiting & _DONE:  # an outlet, or out of the data
                continue
            waiting = (waiting - 1) | (mine & _OPEN)
            total[below] += total[cell]
            state[below] = waiting
            heads[left] = below
            left += waiting & _WAITING == 0
        count = left


@shared_singly
def _follow_rows(one, direction, state, total, step, cols, places):
    """Follow all finished cells of some rows down, within some others: places int64 [n, 4], the first and past-the-last row of either."""
    row_first, row_last, first, last = places[one]
    heads = np.empty(cols * min(_ABREAST, row_last - row_first) + 1, np.int32)
    for top in range(row_first, row_last, _ABREAST):
        count = 0  # listed first: half the cells have no inflow, and no branch would guess which
        start = top * cols
        line = state[start : min(top + _ABREAST, row_last) * cols]
        for k in range(line.size):
            heads[count] = start + k
            count += line[k] & (_WAITING | _DONE) == 0
        _follow(heads, count, np.uint64(first * cols), np.uint64(last * cols), step, direction, state, total)


def _accumulate(direction, state, total):
    """Sum total (in place) down the directions; return how many cells lie on a loop or below one.

    Arguments: direction, state: as `_inflows` left them; total: int32, int64 or float64, all (rows, cols) with a rim.

    Blocks of rows are followed side by side; water that leaves a block waits in the block's first or last row
    until all are done, then it is followed in one go.
    """
    rows, cols = direction.shape
    step = np.zeros(256, np.uint64)
    step[CODE] = (ROW_STEP * cols + COL_STEP).astype(np.uint64)
    flat = direction.ravel(), state.ravel(), total.ravel(), step
    first = np.arange(0, rows, _BLOCK)
    last = np.minimum(first + _BLOCK, rows)
    _follow_rows(len(first), *flat, cols, np.column_stack([first, last, first, last]))
    rims = np.column_stack([first, last - 1]).ravel()
    with one_thread():
        _follow_rows(
            len(rims), *flat, cols, np.column_stack([rims, rims + 1, np.zeros_like(rims), np.full_like(rims, rows)])
        )
    return int(np.count_nonzero(state < _DONE))


def upslope_cells(direction):
    """Return how many cells drain through each cell, and where that number is only a lower bound.

    Arguments: direction: (rows, cols) uint8 codes from `flow_direction`.
    Returns:
        cells: (rows, cols) int32, the cell itself included; 0 = no data.
        open_edge: (rows, cols) bool, True where any of that water comes over a cell on the raster edge or
            beside no data: more may come from outside, so the number is a LOWER bound.
    Raises: ValueError: direction is not a two-dimensional array of these codes, or runs in a loop.
    """
    direction, state = _traced(direction)
    total = (direction != NO_DATA).astype(np.int32)
    _summed(direction, state, total)
    del direction  # these arrays are the largest of a whole screening, so each goes as soon as it can
    return without_rim(total), without_rim(_bordering(state))


def upslope_sum(direction, weights):
    """Return the sum of a quantity over all cells that drain through each cell, itself included.

    Arguments: direction: (rows, cols) uint8 codes; weights: (rows, cols) amount each cell sheds, in any unit.
    Returns: (rows, cols) float64 in the unit of the weights; NaN where there is no data. A weight of NaN
        makes all below it NaN.
    Raises: ValueError as `upslope_cells`, or weights of another shape.
    """
    if np.shape(weights) != np.shape(direction):
        raise ValueError(f"weights have shape {np.shape(weights)}, directions {np.shape(direction)}; expected the same")
    direction, state = _traced(direction)
    total = np.full(direction.shape, np.nan)
    total[1:-1, 1:-1] = weights
    _summed(direction, state, total)
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
    Source: Beven & Kirkby (1979) Hydrological Sciences Bulletin 24(1):43-69 [@beven-kirkby]. The floor is a
        convention, no source.
    """
    east, _ = spacing(cell_m)
    if not (math.isfinite(least_slope) and least_slope > 0):
        raise ValueError(f"least_slope is {least_slope}; expected a positive rise over run, for example 0.001")
    if np.shape(area_m2) != np.shape(slope):
        raise ValueError(f"area_m2 has shape {np.shape(area_m2)}, slope {np.shape(slope)}; expected the same")
    return np.log(np.asarray(area_m2) / east / np.maximum(slope, least_slope))


def _traced(direction):
    # Directions with a rim, and the state of each cell before any water is followed.
    given = np.asarray(direction)
    if given.ndim != 2 or given.dtype != np.uint8:
        raise ValueError(
            f"direction is {given.dtype} of shape {given.shape}; expected rows x columns of uint8 codes from flow_direction"
        )
    refuse_larger(given.shape)
    direction = np.pad(given, 1, constant_values=NO_DATA)
    state = np.full(direction.shape, _DONE, np.uint8)
    bad = sum(_inflows(len(direction) - 2, direction, state))
    if bad:
        raise ValueError(f"{bad} cells hold no direction code; expected 0, 1, 2, 4, 8, 16, 32, 64, 128 or 255")
    return direction, state


def _bordering(state):
    # Where any water comes over a cell that borders the unknown; in the memory of the states.
    state &= _OPEN
    state //= _OPEN
    return state.view(np.bool_)


def _summed(direction, state, total):
    stuck = _accumulate(direction, state, total)
    if stuck:
        raise ValueError(f"the directions run in a loop ({stuck} cells never drain); make them with flow_direction")
