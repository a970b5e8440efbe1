"""How much lower a place lies than the land round it."""

from __future__ import annotations

import numpy as np


def depth_below_surroundings(ground, reach_cells, least_share=0.25):
    """Return the mean height of the square round each cell less the cell's own.

    Arguments: ground: float32 [rows, cols] [m], NaN = no data; reach_cells, half the side of the square less half a cell, 0 or more;
        least_share: of the square that has to be known.
    Return: float32 [rows, cols] [m], above 0 in valleys and hollows, below 0 on hills, 0 on a plane; NaN where the ground is or less
        of the square is known.
    """
    known = np.isfinite(ground)
    datum = float(np.mean(ground[known], dtype=np.float64)) if known.any() else 0.0
    heights = np.where(known, ground, datum).astype(np.float64) - datum
    cells = _square_sums(known.astype(np.float64), reach_cells)
    mean = _square_sums(heights, reach_cells) / np.maximum(cells, 1.0)
    enough = known & (cells >= least_share * (2 * reach_cells + 1) ** 2)
    return np.where(enough, mean - heights, np.nan).astype(np.float32)


def _square_sums(values, reach):
    """Sum of the square of 2 reach + 1 cells round each cell, as far as there are any."""
    side = 2 * reach + 1
    total = np.pad(values, ((reach + 1, reach), (reach + 1, reach))).cumsum(0).cumsum(1)
    return total[side:, side:] - total[:-side, side:] - total[side:, :-side] + total[:-side, :-side]
