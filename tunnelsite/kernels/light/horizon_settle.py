"""Cells between two scan lines that do not agree: their own rays are sampled where either line has its horizon."""

import numpy as np

from tunnelsite.kernels.compiled import njit
from tunnelsite.kernels.light.horizon_skyline import EIGHTH
from tunnelsite.kernels.options import APART, BARE

_HIGHER, _MORE = np.float32(1.5), np.float32(0.005)  # a cell's own ray may see so much more than its lines


@njit(**BARE, forceinline=True)
def _on_row(flat, sights, k, cell, side, eye, high):
    """Raise a tangent to that of a ray from height eye where it crosses row step k, from its cell there to the one beside."""
    z, f, row = flat[np.uint64(cell)], sights[np.uint64(6) * k], np.uint64(6) * k
    second = flat[np.uint64(cell + (side if f > np.float32(0.0) else 0))]
    v = (z + f * (second - z) - eye) * sights[row + np.uint64(1)] - sights[row + np.uint64(2)]
    return v if v > high else high


@njit(**BARE, forceinline=True)
def _on_column(flat, sights, k, cell, pitch, eye, high):
    """The same where it crosses a column between row steps k - 1 and k, on the way to its cell there."""
    z, before, row = flat[np.uint64(cell)], flat[np.uint64(cell - pitch)], np.uint64(6) * k
    inverse, drop = sights[row + np.uint64(4)], sights[row + np.uint64(5)]
    v = (before + sights[row + np.uint64(3)] * (z - before) - eye) * inverse - drop
    return v if v > high else high


@njit(**BARE, forceinline=True)  # a call would hand over all of the plan
def _crossings(flat, columns, plan, sights, p, place, eye, high):
    """Raise a tangent to the greatest of a ray from height eye within row steps k - 1 to k + 1, place = ((cell, column), k).

    What lies clear of the grid's sides takes no branches.
    """
    (start, column), middle = place
    side, width, pitch = plan.side, np.uint64(columns), plan.ahead * columns
    least, most = np.uint64(middle - 1), np.uint64(middle + 1 if middle < p else middle)
    clear = np.uint64(column + side * plan.column[least]) < width
    if clear & (np.uint64(column + side * (plan.column[most] + 1)) < width) & (middle > 1) & (middle < p):
        for step in range(3):
            k = least + np.uint64(step)
            cell = start + side * plan.column[k] + pitch * np.int64(k)
            high = _on_column(flat, sights, k, cell, pitch, eye, high)
            high = _on_row(flat, sights, k, cell, side, eye, high)
        return high
    for step in range(max(middle - 1, 1), min(middle + 1, p) + 1):
        k = np.uint64(step)
        shift = side * plan.column[k]
        cell, beside = start + shift + pitch * step, shift + (side if sights[np.uint64(6) * k] > np.float32(0.0) else 0)
        if np.uint64(column + shift) < width:
            high = _on_column(flat, sights, k, cell, pitch, eye, high)
            if np.uint64(column + beside) < width:
                high = _on_row(flat, sights, k, cell, side, eye, high)
    return high


@njit(**APART)
def settle(flat, columns, plan, p, at, eye, best, scratch):
    """Raise best where `_far` has found the lines apart, by the crossings of the cell's own ray in the row steps in which either line
    has its horizon and in those beside them: at = (cell, column). The ray may see more than the lines, but counts only up to a bound,
    so that it does not matter whether the near march comes before or after.
    """
    (tangents0, steps0), (tangents1, steps1), _, (_, some) = scratch
    sights = plan.sight.reshape(-1)
    for eight in range(np.uint64((eye.size + 7) // 8)):
        word = some[eight]
        while word:
            i = np.uint64(8) * eight + np.uint64((word & -word) * EIGHTH >> 56)
            word &= word - 1
            if i >= np.uint64(eye.size):
                break
            most = max(tangents0[i], tangents1[i]) * _HIGHER + _MORE
            if most > best[i]:
                place, high, k = (at[0] + np.int64(i), at[1] + np.int64(i)), best[i], np.int64(steps0[i])
                high = _crossings(flat, columns, plan, sights, p, (place, k), eye[i], high)
                if steps0[i] != steps1[i]:
                    k = np.int64(steps1[i])
                    high = _crossings(flat, columns, plan, sights, p, (place, k), eye[i], high)
                best[i] = min(high, most)
