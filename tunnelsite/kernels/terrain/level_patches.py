"""Cells whose surroundings are exactly level, as open water is in a flattened elevation model."""

from __future__ import annotations

import numpy as np

from tunnelsite.kernels.shared import shared


def level_cells(ground, tolerance_m):
    """True where the 3 x 3 window is complete and its heights differ by no more than `tolerance_m`.

    Arguments: ground, float32 [rows, cols] [m], NaN = no data; tolerance_m [m].
    Return: bool [rows, cols].
    """
    level = np.zeros(ground.shape, np.bool_)
    _level(len(ground) - 2, ground, tolerance_m, level)
    return level


@shared
def _level(mine, ground, tolerance_m, level):
    cols = ground.shape[1]
    for r in range(1 + mine[0], 1 + mine[1]):
        for c in range(1, cols - 1):
            low = high = ground[r, c]
            known = True
            for i in range(-1, 2):
                for j in range(-1, 2):
                    z = ground[r + i, c + j]
                    known = known and z == z
                    low, high = min(low, z), max(high, z)
            level[r, c] = known and high - low <= tolerance_m
