"""Means over a disc round some cells, of values that are known at some cells only."""

import math

import numpy as np

from tunnelsite.kernels.compiled import njit
from tunnelsite.kernels.options import INNER
from tunnelsite.kernels.shared import shared

_ABREAST = 16  # neighbours whose sums are taken together where nothing is left out
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


def disc_means(values: np.ndarray, owner: np.ndarray, places: np.ndarray, radius_cells: float) -> np.ndarray:
    """Return the mean of `values` over the disc round each of some cells, weighted by the area of the cells in it.

    values: float64 [rows, columns]; NaN = left out. owner: integer [rows, columns], below 0 = left out; a disc takes the cells of its
    middle's owner only. places: int64 [n], flat indices of the middles. radius_cells: 0 or more.
    Return: float64 [n]; NaN where the middle itself is left out. What lies beyond the array is left out.
    Raises ValueError for arrays of different shapes.
    """
    if values.ndim != 2 or values.shape != owner.shape:
        raise ValueError(
            f"values of shape {values.shape} and owner of shape {owner.shape}; two of one shape are expected"
        )
    out = np.empty(len(places))
    owner = np.ascontiguousarray(owner, np.int32)  # one kernel, whatever type the numbers of parcels need
    _means(len(places), values, owner, places, disc_weights(radius_cells), out)
    return out


@shared
def _means(mine, values, owner, places, weights, out):
    cols = owner.shape[1]
    total, area = np.empty(_ABREAST), 0.0
    for r in range(len(weights)):
        for c in range(weights.shape[1]):
            area += weights[r, c]
    k = mine[0]
    while k < mine[1]:
        row, col = places[k] // cols, places[k] % cols
        abreast = k + _ABREAST <= mine[1] and places[k + _ABREAST - 1] == places[k] + _ABREAST - 1
        if abreast and _alone(owner, row, col, len(weights) // 2):
            _sums(values, row, col, weights, total)
            known = True
            for i in range(_ABREAST):
                known &= total[i] == total[i]
            if known:
                for i in range(
                    _ABREAST
                ):  # as a slice it would bring the text of its error, which takes seconds to compile
                    out[k + i] = total[i] / area
                k += _ABREAST
                continue
        out[k] = _mean(values, owner, row, col, weights)
        k += 1


@njit(**INNER)
def _mean(values, owner, row, col, weights):
    rows, cols = values.shape
    reach = len(weights) // 2
    one, middle, total, area = owner[row, col], values[row, col], 0.0, 0.0
    for r in range(max(row - reach, 0), min(row + reach + 1, rows)):
        for c in range(max(col - reach, 0), min(col + reach + 1, cols)):
            value = values[r, c]
            counts = (owner[r, c] == one) & (value == value)
            share = weights[r - row + reach, c - col + reach] if counts else 0.0
            total += share * (value if counts else 0.0)
            area += share
    return total / area if one >= 0 and middle == middle else np.nan


@njit(**INNER)
def _alone(owner, row, col, reach):
    """Whether the discs round a cell and those right of it that are summed abreast lie wholly on the ground of one owner."""
    rows, cols = owner.shape
    if row < reach or row + reach >= rows or col < reach or col + _ABREAST + reach > cols or owner[row, col] < 0:
        return False
    one, others = owner[row, col], False
    top, left = np.uint64(row - reach), np.uint64(col - reach)  # unsigned: they surely do not count from the end
    for r in range(np.uint64(2 * reach + 1)):
        for c in range(np.uint64(2 * reach + _ABREAST)):
            others |= owner[top + r, left + c] != one
    return not others


@njit(**INNER)
def _sums(values, row, col, weights, total):
    """Weighted sums over the discs round a cell and those right of it, summed as `_mean` does but side by side, in vectors."""
    reach = len(weights) // 2
    top, left = np.uint64(row - reach), np.uint64(col - reach)
    total[:] = 0.0
    for r in range(np.uint64(len(weights))):
        for c in range(np.uint64(len(weights))):
            for k in range(np.uint64(_ABREAST)):
                total[k] += weights[r, c] * values[top + r, left + c + k]
