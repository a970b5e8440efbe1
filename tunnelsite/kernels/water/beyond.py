"""Water that comes from beyond a part of a raster: where it runs, and that carried to the cells of another grid.

Arrays are [row, col], row 0 = north; directions are the codes of `flow`. A lattice gives the place in one raster of every `step`-th
row and column of another; between them it is bilinear.
"""

from __future__ import annotations

import numpy as np

from tunnelsite.kernels.compiled import njit
from tunnelsite.kernels.options import PLAIN
from tunnelsite.kernels.resample import _between, _bilinear
from tunnelsite.kernels.shared import shared
from tunnelsite.kernels.water.flow import BACK, CODE, COL_STEP, NO_DATA, OUTLET, ROW_STEP


def inside_cells(ground, lattice_row, lattice_col, step, rows, cols):
    """Return which cells of a raster have their centre in a cell of a grid whose height is known.

    Arguments: ground: (R, C) heights of the grid, NaN = no data; lattice_row, lattice_col: place in the grid [cells, from its outer
        corner] of every `step`-th cell centre of the raster; step [cells]; rows, cols of the raster.
    Returns: (rows, cols) bool.
    """
    found = np.zeros((rows, cols), np.bool_)
    _inside(rows, ground, lattice_row, lattice_col, step, found)
    return found


@shared
def _inside(mine, ground, lattice_row, lattice_col, step, found):
    cols = found.shape[1]
    for r in range(mine[0], mine[1]):
        for c in range(cols):
            i = int(np.floor(_between(lattice_row, r / step, c / step)))
            j = int(np.floor(_between(lattice_col, r / step, c / step)))
            if 0 <= i < ground.shape[0] and 0 <= j < ground.shape[1]:
                found[r, c] = np.isfinite(ground[i, j])


@njit(**PLAIN)
def reached_from_beyond(direction, inside):
    """Return the cells inside through which water runs that comes in from a cell outside.

    Arguments: direction: (rows, cols) uint8 codes of a raster, drained with all land round it; inside: (rows, cols) bool, a part
        of it; what lies beyond the array is not asked, so the part should end a cell before it does.
    Returns: (rows, cols) bool.
    """
    rows, cols = direction.shape
    row_step, col_step = np.zeros(256, np.int64), np.zeros(256, np.int64)
    for k in range(8):
        row_step[CODE[k]], col_step[CODE[k]] = ROW_STEP[k], COL_STEP[k]
    found = np.zeros((rows, cols), np.bool_)
    for r in range(rows):
        for c in range(cols):
            if not inside[r, c] or found[r, c]:
                continue
            enters = False
            for k in range(8):
                i, j = r + ROW_STEP[k], c + COL_STEP[k]
                if 0 <= i < rows and 0 <= j < cols and not inside[i, j] and direction[i, j] == BACK[k]:
                    enters = True
                    break
            i, j = r, c
            while enters and inside[i, j] and not found[i, j]:
                found[i, j] = True
                code = direction[i, j]
                if code in (OUTLET, NO_DATA):
                    break
                i, j = i + row_step[code], j + col_step[code]
                if i < 0 or j < 0 or i >= rows or j >= cols:
                    break
    return found


@shared
def _gathered(mine, values, reached, is_open, ground, back, found, edge):
    (lattice_row, lattice_col, step), cols = back, ground.shape[1]
    for i in range(mine[0], mine[1]):
        for j in range(cols):
            r = int(np.floor(_between(lattice_row, (i + 0.5) / step, (j + 0.5) / step) + 0.5))
            c = int(np.floor(_between(lattice_col, (i + 0.5) / step, (j + 0.5) / step) + 0.5))
            if 0 <= r < values.shape[0] and 0 <= c < values.shape[1] and np.isfinite(ground[i, j]):
                edge[i, j] = is_open[r, c]
                if reached[r, c]:
                    found[i, j] = values[r, c]


@njit(**PLAIN)
def _scattered(values, reached, ground, lattice_row, lattice_col, step, found):
    for r in range(reached.shape[0]):
        for c in range(reached.shape[1]):
            if reached[r, c]:
                i = int(np.floor(_between(lattice_row, r / step, c / step)))
                j = int(np.floor(_between(lattice_col, r / step, c / step)))
                if 0 <= i < ground.shape[0] and 0 <= j < ground.shape[1] and np.isfinite(ground[i, j]):
                    value = np.float32(values[r, c])
                    if not found[i, j] >= value:
                        found[i, j] = value


def carried(values, reached, is_open, ground, there, back):
    """Return values of the reached cells of a raster on the cells of a grid, and its open edges.

    No reached cell is lost: each gives its value to the grid's cell in which its centre lies, and each cell of the grid takes that
    of the cell in which its own centre lies; the greatest counts.

    Arguments: values, reached, is_open: (rows, cols) of the raster; ground: (R, C) heights of the grid, NaN = no data; there =
        (row, col, step), lattice of the raster's cell centres in the grid [cells from its outer corner]; back = (row, col, step),
        lattice of the grid's cell corners in the raster [cells; whole numbers are centres].
    Returns: (R, C) float32, NaN where nothing is reached; (R, C) bool.
    """
    found, edge = np.full(ground.shape, np.float32(np.nan)), np.zeros(ground.shape, np.bool_)
    _gathered(len(ground), values, reached, is_open, ground, tuple(back), found, edge)
    _scattered(values, reached, ground, *there, found)
    return found, edge


def raised_edge(ground, depth, lattice_row, lattice_col, step):
    """Return how high the edge of known ground stands under water when the land beyond is known.

    Arguments: ground: (R, C) heights of a grid [m], NaN = no data; depth: (rows, cols) of the hollows of a raster drained with
        all land round it [m]; lattice_row, lattice_col, step: the grid's cell corners in the raster.
    Returns: (R, C) float32 [m] at cells on the grid's rim or beside no data that lie in a hollow, NaN elsewhere.
    """
    found = np.full(ground.shape, np.float32(np.nan))
    _raised(len(ground), ground, depth, (lattice_row, lattice_col, step), found)
    return found


@shared
def _raised(mine, ground, depth, lattice, found):
    (lattice_row, lattice_col, step), (rows, cols) = lattice, ground.shape
    for i in range(mine[0], mine[1]):
        for j in range(cols):
            edge = i == 0 or j == 0 or i == rows - 1 or j == cols - 1
            if not edge:
                for k in range(8):
                    edge |= np.isnan(ground[i + ROW_STEP[k], j + COL_STEP[k]])
            if edge and np.isfinite(ground[i, j]):
                row = _between(lattice_row, (i + 0.5) / step, (j + 0.5) / step)
                water = _bilinear(depth, row, _between(lattice_col, (i + 0.5) / step, (j + 0.5) / step))
                if water > 0.0:
                    found[i, j] = ground[i, j] + water
