"""Values of a raster at the cells of another grid, such that a plane comes through exactly."""

from __future__ import annotations

import numpy as np
from numba import njit, prange

_SNAP = 1e-6  # cells: closer to a centre than this is on it, so that a missing neighbour of no weight does not matter


@njit(cache=True, nogil=True, inline="always")
def _bilinear(source, row, col):
    """Value at fractional (row, col), where whole numbers are cell centres; NaN unless every neighbour with weight is known."""
    rows, cols = source.shape
    top, left = int(np.floor(row + _SNAP)), int(np.floor(col + _SNAP))
    down, right = row - top, col - left
    if down < _SNAP:
        down = 0.0
    if right < _SNAP:
        right = 0.0
    bottom, east = top + (down > 0.0), left + (right > 0.0)
    if top < 0 or left < 0 or bottom >= rows or east >= cols:
        return np.nan
    upper = source[top, left] + right * (np.float64(source[top, east]) - source[top, left])
    lower = source[bottom, left] + right * (np.float64(source[bottom, east]) - source[bottom, left])
    return upper + down * (lower - upper)


@njit(cache=True, parallel=True, nogil=True, error_model="numpy")
def bilinear_samples(source, lattice_row, lattice_col, step, rows, cols, subsamples):
    """Bilinear samples of `source` at the centres of a target grid.

    Arguments:
        source: float32/float64 [R, C], NaN = no data.
        lattice_row, lattice_col: float64; source position (cells; whole numbers are source cell centres) of the target's
            cell corners at every `step`-th row and column, starting with corner (0, 0); between them it is bilinear.
        step: [target cells]. rows, cols: target shape.
        subsamples: n >= 1; the mean of n x n samples spread over the target cell, for a target coarser than its source.
    Return: float32 [rows, cols]; NaN wherever a source neighbour with any weight is missing: nothing is extrapolated.
    """
    out = np.empty((rows, cols), np.float32)
    for r in prange(rows):
        for c in range(cols):
            total = 0.0
            for i in range(subsamples):
                y = (r + (i + 0.5) / subsamples) / step
                iy = int(y)
                fy = y - iy
                for j in range(subsamples):
                    x = (c + (j + 0.5) / subsamples) / step
                    ix = int(x)
                    fx = x - ix
                    a = lattice_row[iy, ix] + fx * (lattice_row[iy, ix + 1] - lattice_row[iy, ix])
                    b = lattice_row[iy + 1, ix] + fx * (lattice_row[iy + 1, ix + 1] - lattice_row[iy + 1, ix])
                    d = lattice_col[iy, ix] + fx * (lattice_col[iy, ix + 1] - lattice_col[iy, ix])
                    e = lattice_col[iy + 1, ix] + fx * (lattice_col[iy + 1, ix + 1] - lattice_col[iy + 1, ix])
                    total += _bilinear(source, a + fy * (b - a), d + fy * (e - d))
            out[r, c] = total / (subsamples * subsamples)
    return out
