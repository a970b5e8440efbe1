"""Directions (D8) and contributing areas tile by tile: the same to the bit as `flow` and `upslope` of the whole raster.

Off level ground a direction follows from the eight neighbours. On level ground it follows from how many steps it is to a cell
that drains, which may lie tiles away: the steps of perimeter cells are found tile by tile until none gets shorter. Areas: each
tile sums its own land and tells, for each perimeter cell, through which other one its water leaves; on that graph the water
that comes in from other tiles follows, and the tile sums again with it.

Source: Barnes (2017) Parallel non-divergent flow accumulation for trillion cell digital elevation models on desktops or
clusters, Environmental Modelling & Software 92:202-212 (memory); the steps over level ground are derived here.
"""

import math
from typing import NamedTuple

import numpy as np
from numba import njit

from tunnelsite.kernels.flow import _OPEN_FLAT, CODE, COL_STEP, NO_DATA, OUTLET, ROW_STEP, _steepest
from tunnelsite.kernels.tile_frame import mine, numbers, perimeter, rim
from tunnelsite.kernels.upslope import _accumulate, _inflows

FAR = np.int32(2**30)  # steps not known (yet)
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


def steep_directions(window, spacing_m):
    """Return codes of a filled tile grown by one cell (the rim no data where it is, else 0); level ground still 254.

    Arguments: window: (rows + 2, cols + 2) filled heights [m]; spacing_m: (east, north) [m].
    """
    direction = np.full(window.shape, NO_DATA)
    east, north = spacing_m
    _steepest(window, 1.0 / east, 1.0 / north, 1.0 / math.hypot(east, north), direction)
    for side in (np.s_[0], np.s_[-1], np.s_[:, 0], np.s_[:, -1]):
        direction[side] = np.where(np.isnan(window[side]), NO_DATA, OUTLET)
    return direction


@njit(cache=True, nogil=True)
def _steps(z, direction, around):
    """Fewest steps over level ground to a cell that drains, within a tile grown by one cell whose rim is known.

    Rings of equal steps are found one after the other; a cell of the rim joins the ring its own steps put it in.
    """
    width = z.shape[1]
    steps = np.full(z.shape, FAR, np.int32)
    z, direction, steps, around = z.ravel(), direction.ravel(), steps.ravel(), around.ravel()
    move = ROW_STEP * width + COL_STEP
    rows = z.size // width
    queue, count, first = np.empty(z.size, np.int32), 0, 0
    outer, outside = np.empty(2 * (rows + width), np.int32), 0
    for cell in range(z.size):
        r, c = cell // width, cell % width
        if r == 0 or c == 0 or r == rows - 1 or c == width - 1:
            if direction[cell] != NO_DATA:
                outer[outside] = cell
                outside += 1
                steps[cell] = around[cell]
        elif direction[cell] != _OPEN_FLAT:
            steps[cell] = 0
            for k in range(8):
                beside = cell + move[k]
                if direction[beside] == _OPEN_FLAT and z[beside] == z[cell]:
                    queue[count] = cell
                    count += 1
                    break
    far = np.argsort(steps[outer[:outside]], kind="mergesort")
    next_outer, ring = 0, np.int32(0)
    while True:
        if first == count:
            if next_outer == outside or steps[outer[far[next_outer]]] == FAR:
                return steps.reshape(rows, width)
            ring = steps[outer[far[next_outer]]]
        while next_outer < outside and steps[outer[far[next_outer]]] == ring:
            queue[count] = outer[far[next_outer]]
            count += 1
            next_outer += 1
        last = count
        for place in range(first, last):
            cell = queue[place]
            r, c = cell // width, cell % width
            for k in range(8):
                i, j = r + ROW_STEP[k], c + COL_STEP[k]
                if i < 1 or j < 1 or i >= rows - 1 or j >= width - 1:
                    continue
                beside = cell + move[k]
                if direction[beside] == _OPEN_FLAT and steps[beside] == FAR and z[beside] == z[cell]:
                    steps[beside] = ring + 1
                    queue[count] = beside
                    count += 1
        first = last
        ring += 1


@njit(cache=True, nogil=True)
def _nearer(z, direction, steps):
    # Level ground drains to the first neighbour that is one step nearer.
    for r in range(1, z.shape[0] - 1):
        for c in range(1, z.shape[1] - 1):
            if direction[r, c] == _OPEN_FLAT:
                direction[r, c] = OUTLET
                for k in range(8):
                    i, j = r + ROW_STEP[k], c + COL_STEP[k]
                    if z[i, j] == z[r, c] and steps[i, j] == steps[r, c] - 1:
                        direction[r, c] = CODE[k]
                        break


def unknown_steps(of):
    """Return the flat array of steps of all perimeter cells before any tile was looked at."""
    return np.full(int(of.first[-1]), FAR, np.int32)


def tile_steps(of, spot, window, spacing_m, steps):
    """Return the steps of one tile's perimeter cells as far as those of the tiles around are known.

    Arguments: of, spot: frame and tile; window: filled tile grown by one cell [m]; spacing_m: (east, north); steps: flat
        array of all perimeters.
    """
    found = _all_steps(of, spot, window, steep_directions(window, spacing_m), steps)
    row, col = perimeter(spot.rows, spot.cols)
    return found[row + 1, col + 1]


def tile_directions(of, spot, window, spacing_m, steps):
    """Return the codes of one filled tile grown by one cell, the rim 0 or 255; arguments as `tile_steps`."""
    direction = steep_directions(window, spacing_m)
    if (direction == _OPEN_FLAT).any():
        _nearer(window, direction, _all_steps(of, spot, window, direction, steps))
    return direction


def shorter_next_door(of, spot, levels, steps, was):
    """Return the numbers of the tiles that may get shorter steps because one tile's perimeter did.

    Arguments: levels, steps: flat arrays; was: this tile's steps before.
    """
    part = mine(of, spot)
    row, col = perimeter(spot.rows, spot.cols)
    fell = steps[part] < was
    if not fell.any():
        return set()
    row, col, height, now = row[fell] + spot.row, col[fell] + spot.col, levels[part][fell], steps[part][fell]
    touched = set()
    for k in range(8):
        r, c = row + ROW_STEP[k], col + COL_STEP[k]
        beyond = (r < spot.row) | (c < spot.col) | (r >= spot.row + spot.rows) | (c >= spot.col + spot.cols)
        there = numbers(of, np.where(beyond, r, -1), c)
        better = (there >= 0) & (levels[there] == height) & (now + 1 < steps[there])
        touched |= set((np.searchsorted(of.first, there[better], side="right") - 1).tolist())
    return touched


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


def _all_steps(of, spot, window, direction, steps):
    around = np.full(window.shape, FAR, np.int32)
    row, col, index = rim(of, spot)
    known = index >= 0
    around[row[known], col[known]] = steps[index[known]]
    return _steps(window, direction, around)


def _summed(direction, total, more):
    inflows, is_open = np.zeros(direction.shape, np.uint8), np.zeros(direction.shape, np.bool_)
    _inflows(direction, inflows, is_open)
    closed = direction.copy()  # water that leaves the tile is not followed
    for side in (np.s_[0], np.s_[-1], np.s_[:, 0], np.s_[:, -1]):
        closed[side] = NO_DATA
    is_open |= more
    stuck = _accumulate(closed, inflows, is_open, total)
    if stuck:
        raise ValueError(f"the directions run in a loop ({stuck} cells never drain); make them with tile_directions")
    return total, is_open


@njit(cache=True, nogil=True)
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


@njit(cache=True, nogil=True)
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
