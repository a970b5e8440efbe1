"""The near march of the horizon engine: every crossing within a few rows, for a whole strip of cells at a
time."""

import numpy as np
from numba import njit

from tunnelsite.kernels.options import FAST_INNER


@njit(**FAST_INNER)
def _march_sides(flat, plan, q, start, span, eye, best):
    """One sample of the near march for the columns low..high of a strip row: start = (cell, column), span =
    columns."""
    a = start + plan.near_cells[q, 0]
    b = start + plan.near_cells[q, 1]
    f, inverse, drop = plan.near_factors[q, 0], plan.near_factors[q, 1], plan.near_factors[q, 2]
    for i in range(span[0], span[1]):
        z = flat[np.uint64(a + i)]
        v = (z + f * (flat[np.uint64(b + i)] - z) - eye[i]) * inverse - drop
        best[i] = v if v > best[i] else best[i]


@njit(**FAST_INNER)
def march_near(flat, columns, plan, start, column, eye, best, count):
    """Raise best to the steepest of the first `count` near samples of a strip row that starts at (cell,
    column).

    Four samples a sweep, so that eye and best stay in registers; unsigned indices, so that the sweep is
    vectorised.
    """
    n = eye.size
    cells, factors = plan.near_cells, plan.near_factors
    for q in range(0, count, 4):
        q1, q2, q3 = min(q + 1, count - 1), min(q + 2, count - 1), min(q + 3, count - 1)
        low, high = 0, n
        for s in range(q, q3 + 1):
            low = max(low, -(column + cells[s, 2]))
            high = min(high, columns - column - cells[s, 3])
        low = min(low, n)
        high = max(high, low)
        base = start + low
        a0, b0 = np.uint64(base + cells[q, 0]), np.uint64(base + cells[q, 1])
        a1, b1 = np.uint64(base + cells[q1, 0]), np.uint64(base + cells[q1, 1])
        a2, b2 = np.uint64(base + cells[q2, 0]), np.uint64(base + cells[q2, 1])
        a3, b3 = np.uint64(base + cells[q3, 0]), np.uint64(base + cells[q3, 1])
        f0, i0, d0 = factors[q, 0], factors[q, 1], factors[q, 2]
        f1, i1, d1 = factors[q1, 0], factors[q1, 1], factors[q1, 2]
        f2, i2, d2 = factors[q2, 0], factors[q2, 1], factors[q2, 2]
        f3, i3, d3 = factors[q3, 0], factors[q3, 1], factors[q3, 2]
        o = np.uint64(low)
        for i in range(np.uint64(high - low)):
            e = eye[o + i]
            m = best[o + i]
            z = flat[a0 + i]
            v = (z + f0 * (flat[b0 + i] - z) - e) * i0 - d0
            m = v if v > m else m
            z = flat[a1 + i]
            v = (z + f1 * (flat[b1 + i] - z) - e) * i1 - d1
            m = v if v > m else m
            z = flat[a2 + i]
            v = (z + f2 * (flat[b2 + i] - z) - e) * i2 - d2
            m = v if v > m else m
            z = flat[a3 + i]
            v = (z + f3 * (flat[b3 + i] - z) - e) * i3 - d3
            best[o + i] = v if v > m else m
        if low > 0 or high < n:  # beside the grid's sides only some of the four samples lie inside the data
            for s in range(q, q3 + 1):
                first, last = max(0, -(column + cells[s, 2])), min(n, columns - column - cells[s, 3])
                _march_sides(flat, plan, s, start, (first, min(last, low)), eye, best)
                _march_sides(flat, plan, s, start, (max(first, high), last), eye, best)
