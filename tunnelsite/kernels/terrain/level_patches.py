"""Cells whose surroundings are exactly level, as open water is in a flattened elevation model."""

from __future__ import annotations

import numpy as np
from numba import njit, prange


@njit(cache=True, parallel=True, nogil=True)
def level_cells(ground, tolerance_m):
    """True where the 3 x 3 window is complete and its heights differ by no more than `tolerance_m`.

    Arguments: ground, float32 [rows, cols] [m], NaN = no data; tolerance_m [m].
    Return: bool [rows, cols].
    """
    rows, cols = ground.shape
    level = np.zeros((rows, cols), np.bool_)
    for r in prange(1, rows - 1):
        for c in range(1, cols - 1):
            low = high = ground[r, c]
            known = True
            for i in range(-1, 2):
                for j in range(-1, 2):
                    z = ground[r + i, c + j]
                    known = known and z == z
                    low, high = min(low, z), max(high, z)
            level[r, c] = known and high - low <= tolerance_m
    return level
