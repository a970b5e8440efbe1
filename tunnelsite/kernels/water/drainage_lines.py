"""Lines that gather water: height above the one a cell drains to, and distance from the nearest.

Arrays are [row, col], row 0 = north; directions are the codes of `flow`. Lines are a mask of their cells.

Source: Nobre et al. (2011) Height Above the Nearest Drainage, Journal of Hydrology 404:13-29: the drop along the flow path to the
first cell of a line.
"""

import numpy as np
from numba import njit

from tunnelsite.kernels.bands import bands
from tunnelsite.kernels.distance import distance_to, from_rows_away, rows_away
from tunnelsite.kernels.options import INNER
from tunnelsite.kernels.shared import shared
from tunnelsite.kernels.water.flow import CODE, COL_STEP, NO_DATA, OUTLET, ROW_STEP

_UNKNOWN = np.int32(-1)
_BAND_CELLS = 1 << 20


@njit(**INNER)
def _followed(row, col, direction, line, steps, end):
    """Set `end` of all cells on the way down from one; return 0, or 1 where the way leads out of the array, to no data or in a loop."""
    rows, cols = direction.shape
    r, c, found, count = row, col, _UNKNOWN, 0
    while found == _UNKNOWN:
        if r < 0 or c < 0 or r >= rows or c >= cols or count > rows * cols:
            return 1
        code = direction[r, c]
        found = end[r, c]
        if found == _UNKNOWN:
            if code == OUTLET or line[r, c]:
                found = np.int32(r * cols + c)
            elif steps[code, 0] == 0 and steps[code, 1] == 0:
                return 1
            else:
                r, c, count = r + steps[code, 0], c + steps[code, 1], count + 1
    while row != r or col != c:
        end[row, col] = found
        code = direction[row, col]
        row, col = row + steps[code, 0], col + steps[code, 1]
    end[r, c] = found
    return 0


@shared
def _ends(mine, direction, line, steps, end):
    """Fill `end` with the flat index of the first cell of a line, or else of the outlet, that each cell drains to.

    Return how many cells have none. Threads may write one cell at once: always the same number.
    """
    bad = 0
    for row in range(mine[0], mine[1]):
        for col in range(direction.shape[1]):
            if direction[row, col] != NO_DATA and end[row, col] == _UNKNOWN:
                bad += _followed(np.int64(row), np.int64(col), direction, line, steps, end)
    return bad


@shared
def _heights(mine, ground, ponding, line, enough, end, height):
    """Height above the water level at the end of each path, in the memory of the ends."""
    cols = ground.shape[1]
    for row in range(mine[0], mine[1]):
        for col in range(cols):
            at = np.int64(end[row, col])
            if at == _UNKNOWN:
                height[row, col] = np.nan
                continue
            r, c = at // cols, at % cols
            above = ground[row, col] - (ground[r, c] + ponding[r, c])
            height[row, col] = above if line[r, c] or above >= enough else np.nan


def height_above_drainage(ground, ponding, direction, line, enough_m):
    """Return the height of each cell above the water level of the first line on its way down.

    Arguments:
        ground: (rows, cols) float32 heights [m], NaN = no data. ponding: (rows, cols) float32, depth of hollows [m].
        direction: (rows, cols) uint8, codes of the filled ground. line: (rows, cols) bool, cells of a line.
        enough_m: where the way leaves the data before it meets a line, the height above that place [m] is a lower bound. It is given
            where it is at least this much; else the height is not known.
    Return: (rows, cols) float32 [m], NaN = not known. Below 0 in a hollow through which a line runs: the depth under its water.
    Errors: ValueError for shapes that differ or directions that run in a loop, out of the raster or into no data.
    Source: Nobre et al. (2011). Level is that of the filled ground, so that the height over a hollow counts from where it spills.
    """
    direction = np.ascontiguousarray(direction)
    shapes = {np.shape(one) for one in (ground, ponding, direction, line)}
    if len(shapes) != 1 or direction.dtype != np.uint8:
        raise ValueError(f"expected rasters of one shape and directions of uint8, got {shapes} and {direction.dtype}")
    steps = np.zeros((256, 2), np.int64)
    steps[CODE] = np.column_stack([ROW_STEP, COL_STEP])
    end = np.full(direction.shape, _UNKNOWN)
    bad = sum(_ends(len(direction), direction, line, steps, end))
    if bad:
        raise ValueError(f"{bad} cells drain nowhere, out of the raster or into no data; make them with flow_direction")
    height = end.view(np.float32)
    _heights(len(ground), ground, ponding, line, np.float32(enough_m), end, height)
    return height


def distance_from_drainage(line, known, cell_m, most_m, sure_m):
    """Return the distance of each cell's middle from that of the nearest cell of a line.

    Arguments: line: (rows, cols) bool, cells of a line; known: (rows, cols) bool, where there are data; cell_m: (east, north)
        spacing [m]; most_m: greater distances are given as this [m]; sure_m: where the edge of the data is nearer than this and than
        any line [m], a line may run just beyond it.
    Return: (rows, cols) float32 [m], NaN where nothing is known, or where a nearer line may run beyond the data.
    """
    distance = distance_to(line, cell_m, most_m)
    edge = ~known
    edge[[0, -1]], edge[:, [0, -1]] = True, True
    away, most = rows_away(edge, cell_m, sure_m)
    for rows in bands(away.shape, _BAND_CELLS):
        nearer = np.empty(away[rows].shape, np.float32)
        from_rows_away(away[rows], most, cell_m, nearer)
        nearer[~known[rows]] = -1.0
        distance[rows][(nearer < distance[rows]) & (nearer < np.float32(sure_m))] = np.nan
    return distance
