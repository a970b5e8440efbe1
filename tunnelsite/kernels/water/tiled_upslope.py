"""Contributing areas tile by tile: the same as `upslope.upslope_cells` of the whole raster.

Each tile sums its own land and tells, for each perimeter cell, through which other one its water leaves; on that graph the
water that comes in from other tiles follows, and the tile sums again with it.

Source: Barnes (2017) Parallel non-divergent flow accumulation for trillion cell digital elevation models on desktops or
clusters, Environmental Modelling & Software 92:202-212 [@barnes-2017].
"""

from typing import NamedTuple

import numpy as np

from tunnelsite.kernels.compiled import njit
from tunnelsite.kernels.options import PLAIN
from tunnelsite.kernels.water.flow import CODE, COL_STEP, NO_DATA, OUTLET, ROW_STEP
from tunnelsite.kernels.water.tile_frame import mine, numbers, perimeter
from tunnelsite.kernels.water.upslope import _DONE, _OPEN, _accumulate, _bordering, _inflows

NOWHERE = -1


class Links(NamedTuple):
    """How one tile passes water between its perimeter cells.

    Attributes: direction, code of each perimeter cell; exit, place in this tile's perimeter where its water leaves the tile,
    -1 = it stays or leaves the data; cells, land of this tile that drains through it; open_edge, whether that is a lower bound.
    """

    direction: np.ndarray
    exit: np.ndarray
    cells: np.ndarray
    open_edge: np.ndarray


def tile_links(direction):
    """Return the `Links` of one tile. Arguments: direction: from `tile_directions`, grown by one cell."""
    cells, open_edge = _summed(direction, np.ones(direction.shape, np.int64), np.zeros(direction.shape, np.bool_))
    row, col = perimeter(direction.shape[0] - 2, direction.shape[1] - 2)
    row, col = row + 1, col + 1
    leaves = _exits(direction, row, col)
    return Links(
        direction[row, col], leaves, np.where(direction[row, col] == NO_DATA, 0, cells[row, col]), open_edge[row, col]
    )


def inflow_over_perimeters(of, places, links):
    """Return what enters every perimeter cell from other tiles.

    Arguments: of: frame; places: its `spots`; links: the `Links` of every tile, in order.
    Returns: cells: flat int64; open_edge: flat bool, whether any of it may be more.
    """
    total = np.concatenate([one.cells for one in links])
    is_open = np.concatenate([one.open_edge for one in links])
    exits = np.concatenate([np.where(one.exit >= 0, one.exit + of.first[k], NOWHERE) for k, one in enumerate(links)])
    onward = np.full(total.size, NOWHERE, np.int64)
    row_step, col_step = np.zeros(256, np.int64), np.zeros(256, np.int64)
    row_step[CODE], col_step[CODE] = ROW_STEP, COL_STEP
    for spot, one in zip(places, links, strict=True):
        row, col = perimeter(spot.rows, spot.cols)
        here = np.arange(of.first[spot.number], of.first[spot.number + 1])
        out = exits[here] == here
        code = one.direction[out]
        onward[here[out]] = numbers(of, row[out] + row_step[code] + spot.row, col[out] + col_step[code] + spot.col)
    return _passed_on(total, is_open, exits, onward)


def tile_upslope(of, spot, direction, inflow):
    """Return how many cells drain through each cell of one tile, and where that is a lower bound.

    Arguments: direction: grown by one cell; inflow: (cells, open_edge) from `inflow_over_perimeters`.
    Returns: (rows, cols) int64, 0 = no data; (rows, cols) bool.
    """
    total, more = np.ones(direction.shape, np.int64), np.zeros(direction.shape, np.bool_)
    row, col = perimeter(spot.rows, spot.cols)
    total[row + 1, col + 1] += inflow[0][mine(of, spot)]
    more[row + 1, col + 1] = inflow[1][mine(of, spot)]
    cells, open_edge = _summed(direction, total, more)
    cells[direction == NO_DATA] = 0
    return cells[1:-1, 1:-1].copy(), open_edge[1:-1, 1:-1].copy()


def _summed(direction, total, more):
    state = np.full(direction.shape, _DONE, np.uint8)  # the rim is done: water that leaves the tile is not followed
    _inflows(len(direction) - 2, direction, state)
    state[more] |= _OPEN
    stuck = _accumulate(direction, state, total)
    if stuck:
        raise ValueError(f"the directions run in a loop ({stuck} cells never drain); make them with tile_directions")
    return total, _bordering(state)


@njit(**PLAIN)
def _exits(direction, row, col):
    """Place in the perimeter where the water of each perimeter cell leaves the tile, -1 where it does not reach another
    tile. Cells already followed are remembered.
    """
    rows, cols = direction.shape
    row_step, col_step = np.zeros(256, np.int64), np.zeros(256, np.int64)
    for k in range(8):
        row_step[CODE[k]], col_step[CODE[k]] = ROW_STEP[k], COL_STEP[k]
    place = np.full((rows, cols), np.int32(-1))
    known = np.full((rows, cols), np.int32(-2))
    for k in range(row.size):
        place[row[k], col[k]] = k
    way = np.empty(rows * cols, np.int32)
    found = np.full(row.size, np.int32(-1))
    for start in range(row.size):
        r, c, length = row[start], col[start], 0
        while True:
            answer = known[r, c]
            code = direction[r, c]
            if answer == -2 and code in (OUTLET, NO_DATA):
                answer = np.int32(-1)
            if answer == -2:
                i, j = r + row_step[code], c + col_step[code]
                if i == 0 or j == 0 or i == rows - 1 or j == cols - 1:
                    answer = place[r, c]
            way[length] = r * cols + c
            length += 1
            if answer != -2:
                break
            r, c = i, j
        for k in range(length):
            known[way[k] // cols, way[k] % cols] = answer
        found[start] = answer
    return found


@njit(**PLAIN)
def _passed_on(total, is_open, exits, onward):
    """Follow water from tile to tile: from a cell that leaves a tile on to the next one's, from a cell where it comes in to
    where it leaves.
    """
    count = total.size
    inflow, inflow_open = np.zeros(count, np.int64), np.zeros(count, np.bool_)
    # A node is an exit; it waits for every exit whose water comes in at a cell that leaves here.
    waiting = np.zeros(count, np.int32)
    for k in range(count):
        if exits[k] == k and onward[k] >= 0 and exits[onward[k]] >= 0:
            waiting[exits[onward[k]]] += 1
    ready, size = np.empty(count, np.int64), 0
    for k in range(count):
        if exits[k] == k and waiting[k] == 0:
            ready[size] = k
            size += 1
    while size:
        size -= 1
        k = ready[size]
        enters = onward[k]
        if enters < 0:
            continue
        inflow[enters] += total[k]
        inflow_open[enters] |= is_open[k]
        out = exits[enters]
        if out >= 0:
            total[out] += total[k]
            is_open[out] |= is_open[k]
            waiting[out] -= 1
            if waiting[out] == 0:
                ready[size] = out
                size += 1
    return inflow, inflow_open
