"""Means over a disc round every cell, of values that are known at some cells only.

A row of the disc is a run of whole cells with cut ones at its ends: the run comes from running sums along the row, so the
time grows with the radius and not with its square.
"""

import math

import numpy as np

from tunnelsite.kernels.shared import shared

_SLICES = 4096  # of a cell, to measure the part of it inside the disc; areas then are right to 1e-4


def disc_weights(radius_cells: float) -> np.ndarray:
    """Return the area of each cell that lies in a disc round the middle one, float64 [2 k + 1, 2 k + 1] [cells].

    radius_cells: 0 or more; below half a cell the middle cell alone counts, as 1.
    """
    if radius_cells < 0.5:
        return np.ones((1, 1))
    reach = math.ceil(radius_cells - 0.5)
    at = (np.arange(_SLICES) + 0.5) / _SLICES - 0.5
    cells = np.arange(-reach, reach + 1)
    half = np.sqrt(np.maximum(radius_cells**2 - (cells[:, None] + at) ** 2, 0.0))  # chord of each slice of each row
    inside = np.clip(half[:, None] - (np.abs(cells)[:, None] - 0.5), 0.0, 1.0)
    inside[:, reach] = np.clip(2 * half, 0.0, 1.0)  # both ends of the chord may lie in the middle column
    return inside.mean(axis=2)


def disc_means(values: np.ndarray, owner: np.ndarray, radius_cells: float) -> np.ndarray:
    """Return the mean of `values` over the disc round each cell, weighted by the area of the cells in it.

    values: float [rows, columns]; NaN = left out. owner: integer [rows, columns], -1 = left out; a disc takes the cells of its
    middle's owner only. radius_cells: 0 or more.
    Return: float64 [rows, columns]; NaN where the cell itself is left out. What lies beyond the array is left out.
    Raises ValueError for arrays of different shapes.
    """
    values, owner = np.asarray(values, np.float64), np.asarray(owner)
    if values.ndim != 2 or values.shape != owner.shape:
        raise ValueError(
            f"values of shape {values.shape} and owner of shape {owner.shape}; two of one shape are expected"
        )
    weights = disc_weights(radius_cells)
    out = np.full(values.shape, np.nan)
    counted = (owner >= 0) & np.isfinite(values)
    for one in np.unique(
        owner[counted]
    ):  # parcels hardly overlap, so their boxes together are about as large as the array
        mine = counted & (owner == one)
        rows, cols = (np.flatnonzero(mine.any(axis=axis)) for axis in (1, 0))
        box = slice(rows[0], rows[-1] + 1), slice(cols[0], cols[-1] + 1)
        here = mine[box]
        total = _disc_sums(np.where(here, values[box], 0.0), weights)
        known = _disc_sums(here.astype(np.float64), weights)
        out[box][here] = total[here] / known[here]
    return out


def _disc_sums(values: np.ndarray, weights: np.ndarray) -> np.ndarray:
    """Weighted sums round every cell; what lies beyond the array is 0."""
    reach = len(weights) // 2
    padded = np.pad(values, reach)
    whole = np.array([_whole_run(row, reach) for row in weights])
    out, running = np.zeros(values.shape), np.zeros((padded.shape[0], padded.shape[1] + 1))
    _run_up(len(padded), padded, running)
    _add_discs(len(out), padded, running, weights, whole, out)
    return out


def _whole_run(row: np.ndarray, reach: int) -> int:
    """How many cells on either side of the middle one lie wholly in a row of the disc; -1 = not even that."""
    cut = np.flatnonzero(row[reach:] < 1.0 - 1e-9)
    return int(cut[0]) - 1 if len(cut) else reach


@shared
def _run_up(mine, padded, running):
    for row in range(mine[0], mine[1]):
        for col in range(padded.shape[1]):
            running[row, col + 1] = running[row, col] + padded[row, col]


@shared
def _add_discs(mine, padded, running, weights, whole, out):
    cols, reach = out.shape[1], whole.size // 2
    for row in range(mine[0], mine[1]):
        for down in range(2 * reach + 1):
            run = whole[down]
            if run >= 0:
                for col in range(cols):
                    middle = col + reach
                    out[row, col] += running[row + down, middle + run + 1] - running[row + down, middle - run]
            for side in range(2 * reach + 1):
                share = weights[down, side]
                if abs(side - reach) > run and share > 0.0:
                    for col in range(cols):
                        out[row, col] += share * padded[row + down, col + side]
