"""Water that runs past a rectangle, near enough and high enough to reach it."""

from typing import NamedTuple

import numpy as np

from tunnelsite.kernels.shared import shared

_BLOCK = 16  # rows of placements that one thread fills


@shared
def _largest(mine, lines, level, rectangle, found):
    row, col, area, height, first, past = lines
    half_along, half_across, reach, clear = rectangle
    rows, cols = level.shape
    far_rows = int(half_across + reach)
    for block in range(mine[0], mine[1]):
        top, bottom = block * _BLOCK, min(block * _BLOCK + _BLOCK, rows)
        for k in range(first[block], past[block]):
            for r in range(max(top, row[k] - far_rows), min(bottom, row[k] + far_rows + 1)):
                off = max(abs(r - row[k]) - half_across, 0.0)
                along = half_along + np.sqrt(max(reach * reach - off * off, 0.0))
                if off > reach:
                    continue
                for c in range(max(0, int(np.ceil(col[k] - along))), min(cols, int(np.floor(col[k] + along)) + 1)):
                    if area[k] > found[r, c] and height[k] + clear >= level[r, c]:
                        found[r, c] = area[k]


class Water(NamedTuple):
    """What runs where.

    Attributes: ground, area_m2: (R, cols) float32, heights [m] and contributing area [m2], NaN = no data. least_m2: smaller areas do
    not count. clear_m: water counts where its cell lies at most this far below the rectangle [m].
    """

    ground: np.ndarray
    area_m2: np.ndarray
    least_m2: float
    clear_m: float


def flow_beside(water, level_m, rows, rectangle_cells, reach_cells):
    """Return the largest contributing area of any cell within reach of a rectangle and not well below it.

    Arguments: water; level_m: (rows, cols) float32, level of the rectangle centred on each cell of the strip [m], NaN = not looked
        at; rows: (first, past-the-last) row of the strip in the raster; rectangle_cells: (length, width); reach_cells: from the
        rectangle's edge to a cell's middle.
    Return: (rows, cols) float32 [m2], 0 where no such water passes, NaN where level_m is.
    """
    half_along, half_across = rectangle_cells[0] / 2, rectangle_cells[1] / 2
    far = int(half_across + reach_cells)
    top, bottom = max(rows[0] - far, 0), min(rows[1] + far, water.ground.shape[0])
    row, col = np.nonzero(water.area_m2[top:bottom] >= np.float32(water.least_m2))  # in rising order of rows
    area, height = water.area_m2[top + row, col], water.ground[top + row, col]
    found = np.where(np.isnan(level_m), np.float32(np.nan), np.float32(0.0))
    sizes = (float(half_along), float(half_across), float(reach_cells), np.float32(water.clear_m))
    row += top - rows[0]
    blocks = np.arange(0, len(found), _BLOCK)
    first, past = (
        np.searchsorted(row, blocks - far),
        np.searchsorted(row, np.minimum(blocks + _BLOCK, len(found)) + far),
    )
    _largest(
        len(blocks),
        (row, col, area, height, first, past),
        np.asarray(level_m, np.float32),
        sizes,
        found,
    )
    return found
