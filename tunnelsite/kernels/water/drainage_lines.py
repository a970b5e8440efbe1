"""Lines that gather water: height above the one a cell drains to, and distance from the nearest.

Arrays are [row, col], row 0 = north; directions are the codes of `flow`. Lines are a mask of their cells.

Source: Nobre et al. (2011) Height Above the Nearest Drainage, Journal of Hydrology 404:13-29: the drop along the flow path to the
first cell of a line.
"""

from typing import NamedTuple

import numpy as np

from tunnelsite.kernels.bands import bands
from tunnelsite.kernels.compiled import njit
from tunnelsite.kernels.distance import distance_to, from_rows_away, rows_away
from tunnelsite.kernels.options import INNER
from tunnelsite.kernels.shared import shared
from tunnelsite.kernels.water.flow import CODE, COL_STEP, NO_DATA, OUTLET, ROW_STEP

_UNKNOWN = np.int32(-1)
_BAND_CELLS = 1 << 20


@njit(**INNER)
def _followed(start, direction, steps, end):
    """Set `end` of all cells on the way down from one; return 0, or 1 where the way leads to no data or in a loop. Places are flat."""
    at, count = start, 0
    while end[at] == _UNKNOWN:
        step = steps[direction[at]]
        if step == 0 or count > end.size:
            return 1
        at, count = at + step, count + 1
    found = end[at]
    while start != at:
        end[start] = found
        start += steps[direction[start]]
    return 0


@shared
def _ends(mine, direction, steps, end):
    """Fill `end`, flat, where it is not known, with that of the first cell on the way down where it is; return how many cells have none.

    Threads may write one cell at once: always the same number.
    """
    bad = 0
    for place in range(mine[0], mine[1]):
        if end[place] == _UNKNOWN and direction[place] != NO_DATA:
            bad += _followed(place, direction, steps, end)
    return bad


@shared
def _heights(mine, ground, level, line, enough, end, height):
    """Height above the water level at the end of each path, in the memory of the ends."""
    for row in range(mine[0], mine[1]):
        for col in range(ground.shape[1]):
            at = end[row, col]
            if at == _UNKNOWN:
                height[row, col] = np.nan
                continue
            above = ground[row, col] - level[at]
            height[row, col] = above if line[at] or above >= enough else np.nan


class _Ends(NamedTuple):
    """Where ways end: the number of each such cell, elsewhere unknown, int32 [rows, cols]; by number the level of its water, float32 [m],
    and whether it is a cell of a line."""

    number: np.ndarray
    level: np.ndarray
    line: np.ndarray


def _ends_of(ground, ponding, direction, line, pause):
    """The lines and outlets: what heights count from is looked up once, so that no way leads back to rasters that may live in files."""
    number = np.full(direction.shape, _UNKNOWN)
    levels, lines, count = [], [], 0
    for rows in bands(number.shape, _BAND_CELLS):
        ends = line[rows] | (direction[rows] == OUTLET)
        levels.append((ground[rows] + ponding[rows])[ends])
        lines.append(line[rows][ends])
        number[rows][ends] = np.arange(count, count + levels[-1].size)
        count += levels[-1].size
        pause()
    return _Ends(number, np.concatenate(levels), np.concatenate(lines))


def _lead_out(direction, steps, end):
    """How many cells on the border whose end is not known lead out of the raster."""
    borders = ((0, 0, -1), (-1, 0, 1), ((slice(None), 0), 1, -1), ((slice(None), -1), 1, 1))
    return sum(
        int(np.count_nonzero((steps[direction[at], axis] == out) & (end[at] == _UNKNOWN))) for at, axis, out in borders
    )


def height_above_drainage(ground, ponding, direction, line, enough_m, pause=lambda: None):
    """Return the height of each cell above the water level of the first line on its way down.

    Arguments:
        ground: (rows, cols) float32 heights [m], NaN = no data. ponding: (rows, cols) float32, depth of hollows [m].
        direction: (rows, cols) uint8, codes of the filled ground. line: (rows, cols) bool, cells of a line.
        enough_m: where the way leaves the data before it meets a line, the height above that place [m] is a lower bound. It is given
            where it is at least this much; else the height is not known.
        pause(): called after each band of rows: rasters that live in files may leave memory.
    Return: (rows, cols) float32 [m], NaN = not known. Below 0 in a hollow through which a line runs: the depth under its water.
    Errors: ValueError for shapes that differ or directions that run in a loop, out of the raster or into no data.
    Source: Nobre et al. (2011). Level is that of the filled ground, so that the height over a hollow counts from where it spills.
    """
    direction = np.ascontiguousarray(direction)
    shapes = {np.shape(one) for one in (ground, ponding, direction, line)}
    if len(shapes) != 1 or direction.dtype != np.uint8:
        raise ValueError(f"expected rasters of one shape and directions of uint8, got {shapes} and {direction.dtype}")
    ends = _ends_of(ground, ponding, direction, line, pause)
    end = ends.number
    steps = np.zeros((256, 2), np.int64)
    steps[CODE] = np.column_stack([ROW_STEP, COL_STEP])
    bad = _lead_out(direction, steps, end)  # so that no way has to be watched at each step
    if not bad:
        flat = steps @ (direction.shape[1], 1)
        bad = sum(_ends(direction.size, direction.ravel(), flat, end.ravel()))
    if bad:
        raise ValueError(f"{bad} cells drain nowhere, out of the raster or into no data; make them with flow_direction")
    height = end.view(np.float32)
    for rows in bands(end.shape, _BAND_CELLS):
        part = np.ascontiguousarray(ground[rows])
        _heights(len(part), part, ends.level, ends.line, np.float32(enough_m), end[rows], height[rows])
        pause()
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
