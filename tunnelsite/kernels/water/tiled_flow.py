"""Directions (D8) tile by tile: the same to the bit as `flow.flow_direction` of the whole raster.

Off level ground a direction follows from the eight neighbours. On level ground it follows from how many steps it is to a cell
that drains, which may lie tiles away: the steps of perimeter cells are found tile by tile until none gets shorter.

Source: the directions of `flow`; the steps over level ground from tile to tile are derived here.
"""

import math

import numpy as np

from tunnelsite.kernels.compiled import njit
from tunnelsite.kernels.options import PLAIN
from tunnelsite.kernels.water.flow import _OPEN_FLAT, CODE, COL_STEP, NO_DATA, OUTLET, ROW_STEP, _steepest
from tunnelsite.kernels.water.tile_frame import mine, numbers, perimeter, rim

FAR = np.int32(2**30)  # steps not known (yet)


def steep_directions(window, spacing_m):
    """Return codes of a filled tile grown by one cell (the rim no data where it is, else 0); level ground not yet.

    Arguments: window: (rows + 2, cols + 2) filled heights [m]; spacing_m: (east, north) [m].
    """
    direction = np.full(window.shape, NO_DATA)
    east, north = spacing_m
    _steepest(len(window) - 2, window, 1.0 / east, 1.0 / north, 1.0 / math.hypot(east, north), direction)
    for side in (np.s_[0], np.s_[-1], np.s_[:, 0], np.s_[:, -1]):
        direction[side] = np.where(np.isnan(window[side]), NO_DATA, OUTLET)
    return direction


@njit(**PLAIN)
def _steps(z, direction, around, outer):
    """Fewest steps over level ground to a cell that drains, within a tile grown by one cell whose rim is known.

    Rings of equal steps are found one after the other; a cell of the rim joins the ring its own steps put it in. outer: cells
    of the rim that hold data, by their steps (sorted outside: numba takes 15 s to compile a stable sort).
    """
    width = z.shape[1]
    steps = np.full(z.shape, FAR, np.int32)
    z, direction, steps, around = z.ravel(), direction.ravel(), steps.ravel(), around.ravel()
    move = ROW_STEP * width + COL_STEP
    rows = z.size // width
    queue, count, first = np.empty(z.size, np.int32), 0, 0
    for cell in outer:
        steps[cell] = around[cell]
    for cell in range(z.size):
        r, c = cell // width, cell % width
        if r == 0 or c == 0 or r == rows - 1 or c == width - 1:
            continue
        if direction[cell] != _OPEN_FLAT:
            steps[cell] = 0
            for k in range(8):
                beside = cell + move[k]
                if direction[beside] == _OPEN_FLAT and z[beside] == z[cell]:
                    queue[count] = cell
                    count += 1
                    break
    next_outer, ring = 0, np.int32(0)
    while True:
        if first == count:
            if next_outer == outer.size or steps[outer[next_outer]] == FAR:
                return steps.reshape(rows, width)
            ring = steps[outer[next_outer]]
        while next_outer < outer.size and steps[outer[next_outer]] == ring:
            queue[count] = outer[next_outer]
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


@njit(**PLAIN)
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


def _all_steps(of, spot, window, direction, steps):
    around = np.full(window.shape, FAR, np.int32)
    row, col, index = rim(of, spot)
    known = index >= 0
    around[row[known], col[known]] = steps[index[known]]
    outer = (row * window.shape[1] + col)[direction[row, col] != NO_DATA]
    outer = outer[np.argsort(around.ravel()[outer], kind="stable")]
    return _steps(window, direction, around, outer)
