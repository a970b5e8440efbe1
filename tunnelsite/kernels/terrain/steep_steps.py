"""Cells beside a step in height: walls, cliffs, the edges of crowns."""

from __future__ import annotations

import numpy as np

from tunnelsite.kernels.shared import shared


def steep_steps(ground, east_m, south_m):
    """True where the height differs by more than `east_m` from a neighbour in the row, or `south_m` from one in the column.

    Arguments: ground, float32 [rows, cols] [m], NaN = no data; east_m, south_m [m].
    Return: bool [rows, cols]; a neighbour without data makes no step.
    """
    steep = np.zeros(ground.shape, np.bool_)
    _steep(len(ground), ground, east_m, south_m, steep)
    return steep


@shared
def _steep(mine, ground, east_m, south_m, steep):
    rows, cols = ground.shape
    for r in range(mine[0], mine[1]):
        for c in range(cols):
            z = ground[r, c]
            steep[r, c] = (
                (c > 0 and abs(z - ground[r, c - 1]) > east_m)
                or (c < cols - 1 and abs(z - ground[r, c + 1]) > east_m)
                or (r > 0 and abs(z - ground[r - 1, c]) > south_m)
                or (r < rows - 1 and abs(z - ground[r + 1, c]) > south_m)
            )
