"""Cells beside a step in height: walls, cliffs, the edges of crowns."""

from __future__ import annotations

import numpy as np
from numba import njit, prange


@njit(cache=True, parallel=True, nogil=True)
def steep_steps(ground, east_m, south_m):
    """True where the height differs by more than `east_m` from a neighbour in the row, or `south_m` from one in the column.

    Arguments: ground, float32 [rows, cols] [m], NaN = no data; east_m, south_m [m].
    Return: bool [rows, cols]; a neighbour without data makes no step.
    """
    rows, cols = ground.shape
    steep = np.zeros((rows, cols), np.bool_)
    for r in prange(rows):
        for c in range(cols):
            z = ground[r, c]
            steep[r, c] = (
                (c > 0 and abs(z - ground[r, c - 1]) > east_m)
                or (c < cols - 1 and abs(z - ground[r, c + 1]) > east_m)
                or (r > 0 and abs(z - ground[r - 1, c]) > south_m)
                or (r < rows - 1 and abs(z - ground[r + 1, c]) > south_m)
            )
    return steep
