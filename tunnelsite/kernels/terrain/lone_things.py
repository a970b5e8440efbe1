"""What stands on the ground or is sunk in it by itself: a stump, a boulder, a hole. It is there to be graded, whatever the errors are.

One height is compared with the eight round it, and what it differs by with what heights round there differ by: noise, however its errors
are alike, and rough ground show in many places, a lone thing in one.
"""

import numpy as np

from tunnelsite.kernels.compiled import njit
from tunnelsite.kernels.coverage import axis_weights
from tunnelsite.kernels.options import PLAIN
from tunnelsite.kernels.shared import shared
from tunnelsite.kernels.terrain.blade import BLADE_M, blade_step

FAR = 4.2  # deviations: normal noise reaches so far on one pad of 370 heights in a hundred (derived)
LEAST_M = 0.10  # what is lower is within the accuracy that lidar is asked for [@usgs-ql2], and raked off in passing
ROUND_M, ROUND_HEIGHTS = 10.0, 3  # how far round, the larger of the two


def lone_things(felt: np.ndarray, cell_m: float, lone_sd_m: float) -> np.ndarray:
    """Return how far each height stands above (+) or below the mean of the eight round it where it is a lone thing, else 0; float32.

    felt: ground as a blade meets it (`kernels.terrain.blade.blade_ground`) [rows, columns] [m], NaN = no data. cell_m: side of a cell [m].
    lone_sd_m: standard deviation of that difference which errors alone make at least (`lone_sd`). A height with fewer than five known ones
    round it is not judged.
    """
    step = blade_step(cell_m)
    apart = np.empty(felt.shape, np.float32)
    _differences(len(felt), np.ascontiguousarray(felt), step, apart)
    out = np.zeros(felt.shape, np.float32)
    _mark(len(apart), apart, lone_reach(cell_m) - step, step, FAR * lone_sd_m, out)
    return out


def lone_reach(cell_m: float) -> int:
    """Return how many cells away ground can lie that says whether a height is a lone thing."""
    step = blade_step(cell_m)
    return (max(round(ROUND_M / (cell_m * step)), ROUND_HEIGHTS) + 1) * step


def lone_sd(cell_m: float, sd_m: float, range_m: float) -> float:
    """Return the standard deviation [m] of a height less the mean of the eight round it, as a blade meets them, for errors of
    correlation exp(-(d / range_m)^2); range_m 0 = every cell for itself."""
    step = blade_step(cell_m)
    share = axis_weights(BLADE_M / cell_m) if step > 1 else np.ones(1)
    share = share / share.sum()
    inside = np.subtract.outer(np.arange(share.size), np.arange(share.size))
    alike = []
    for lag in range(3):
        gap = (lag * step + inside) * cell_m
        cover = np.exp(-((gap / range_m) ** 2)) if range_m > 0 else (gap == 0.0).astype(float)
        alike.append(share @ cover @ share)
    weights = np.full((3, 3), -1.0 / 8.0)
    weights[1, 1] = 1.0
    lags = np.abs(np.subtract.outer(range(3), range(3)))
    both = np.array(alike)[lags]
    return sd_m * float(np.sqrt(max(np.einsum("ab,cd,ac,bd", weights, weights, both, both), 0.0)))


@shared
def _differences(mine, felt, step, out):
    """Fill `out` with each height less the mean of the known ones of the eight round it; NaN where fewer than five are known."""
    rows, cols = felt.shape
    for r in range(mine[0], mine[1]):
        for c in range(cols):
            total, count = 0.0, 0
            for i in (-step, 0, step):
                for j in (-step, 0, step):
                    if (i != 0 or j != 0) and 0 <= r + i < rows and 0 <= c + j < cols:
                        near = np.float64(felt[r + i, c + j]) - felt[r, c]
                        if abs(near) < np.inf:
                            total, count = total + near, count + 1
            out[r, c] = -total / count if count >= 5 else np.nan


@shared
def _mark(mine, apart, reach, step, least, out):
    """Fill `out` with those differences that are `FAR` times what the others round them are, root mean square, and more than `least`."""
    rows, cols = apart.shape
    most = (2 * (reach // step) + 1) ** 2 - 1
    for r in range(mine[0], mine[1]):
        for c in range(cols):
            square = np.float64(apart[r, c]) ** 2 / FAR**2
            if not (abs(apart[r, c]) >= LEAST_M and square > (least / FAR) ** 2):
                continue
            others, count = -(np.float64(apart[r, c]) ** 2), -1
            for i in range(r - reach, r + reach + 1, step):
                if others > square * most or i < 0 or i >= rows:
                    continue
                for j in range(c - reach if c >= reach else (c - reach) % step, min(c + reach + 1, cols), step):
                    if abs(apart[i, j]) < np.inf:
                        others, count = others + np.float64(apart[i, j]) ** 2, count + 1
            if count > 0 and others < square * count:
                out[r, c] = apart[r, c]


@njit(**PLAIN)
def touched(lone, low, half, step):
    """Return at which centres a pad has a lone thing on it or, where it ends between heights, just beyond: bool as lone.

    low, half: see `kernels.terrain.grading`; step: cells from one height to the next.
    """
    rows, cols = lone.shape
    out_u, out_v = (low[0] + (half[0] > low[0])) * step, (low[1] + (half[1] > low[1])) * step
    out = np.zeros(lone.shape, np.bool_)
    for r in range(rows):
        for c in range(cols):
            if lone[r, c] != 0.0:
                for i in range(r - out_v, r + out_v + 1, step):
                    for j in range(c - out_u, c + out_u + 1, step):
                        if 0 <= i < rows and 0 <= j < cols:
                            out[i, j] = True
    return out
