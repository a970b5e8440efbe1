"""One pad graded by itself: where a lone thing stands on it, and where cut makes up the fill other than one to one."""

import numpy as np

from tunnelsite.kernels.compiled import njit
from tunnelsite.kernels.options import INNER
from tunnelsite.kernels.terrain.pads_abreast import kept_share

_MAX_STEPS = 60


@njit(**INNER)
def grade_alone(felt, lone, centre, weights, pad, asked, ripple):
    """Return cut, fill [heights x m], deepest cut, deepest fill [m], level, design slopes east and south [m a height], share kept.

    felt, weights, pad: see `kernels.terrain.pads_abreast`; lone: what stands on it [m], as felt, or empty; centre (row, col)
    of a pad that is known; asked (steepest slope [m a height], shrink); ripple: root mean square off the
    plane that is taken for error [m].
    """
    steepest, shrink = asked
    _, low, _, half, step = pad
    datum = np.float64(felt[centre])
    window = _window(felt, centre, low, half, step)
    window -= datum
    level, east, south, square = _plane(window, weights, pad)
    kept = kept_share(square, ripple)
    out_u, out_v = window.shape[1] // 2, window.shape[0] // 2
    for i in range(window.shape[0]):
        for j in range(window.shape[1]):
            off = window[i, j] - (level + east * (j - out_u) + south * (i - out_v))
            window[i, j] -= (1.0 - kept) * off
            if lone.size > 0:
                window[i, j] += lone[centre[0] + (i - out_v) * step, centre[1] + (j - out_u) * step]
    level, east, south, _ = _plane(window, weights, pad)
    east, south = min(max(east, -steepest), steepest), min(max(south, -steepest), steepest)
    cut, fill, pull = _volumes(window, weights, pad, (level, east, south), shrink)
    # Newton on g(t) = cut(t) - shrink fill(t), which falls, is piecewise linear and has no turning in its bend (concave for
    # shrink > 1, convex below): after the first step it nears the root from one side and ends on it exactly.
    for _ in range(_MAX_STEPS):
        gap = cut - shrink * fill
        if shrink == 1.0 or abs(gap) <= 1e-14 * (cut + shrink * fill):
            break
        level += gap / pull
        cut, fill, pull = _volumes(window, weights, pad, (level, east, south), shrink)
    top, bottom = _deepest(window, low, half, (level, east, south))
    return cut, fill, max(top, 0.0), max(-bottom, 0.0), datum + level, east, south, kept


@njit(**INNER)
def _window(felt, centre, low, half, step):
    """The heights on the pad and, where it ends between heights, those just beyond; one of these that is not known is its neighbour on the
    pad."""
    (row, col), (low_u, low_v) = centre, low
    out_u, out_v = low_u + (half[0] > low_u), low_v + (half[1] > low_v)
    window = np.empty((2 * out_v + 1, 2 * out_u + 1))
    for i in range(-out_v, out_v + 1):
        for j in range(-out_u, out_u + 1):
            on_row = row + min(max(i, -low_v), low_v) * step
            on_col = col + min(max(j, -low_u), low_u) * step
            height = np.float64(felt[row + i * step, col + j * step])
            if not abs(height) < np.inf:
                height = np.float64(felt[row + i * step, on_col])
            window[i + out_v, j + out_u] = height if abs(height) < np.inf else np.float64(felt[on_row, on_col])
    return window


@njit(**INNER)
def _plane(window, weights, pad):
    """Return level, slopes and mean square of the least-squares plane."""
    (reach_u, reach_v), _, (area, per_u, per_v), _, _ = pad
    spare_u, spare_v = window.shape[1] // 2 - reach_u, window.shape[0] // 2 - reach_v
    s0, su, sv, sq = 0.0, 0.0, 0.0, 0.0
    for i in range(2 * reach_v + 1):
        for j in range(2 * reach_u + 1):
            z = window[i + spare_v, j + spare_u]
            wz = weights[1, i] * weights[0, j] * z
            s0, su, sv, sq = s0 + wz, su + (j - reach_u) * wz, sv + (i - reach_v) * wz, sq + wz * z
    level, east, south = s0 / area, su * per_u, sv * per_v
    return level, east, south, max(sq - s0 * level - su * east - sv * south, 0.0) / area


@njit(**INNER)
def _volumes(window, weights, pad, plane, shrink):
    """Return cut, fill [heights x m], and the area that a change of level moves, fill counted `shrink` times."""
    (reach_u, reach_v), (level, east, south) = pad[0], plane
    spare_u, spare_v = window.shape[1] // 2 - reach_u, window.shape[0] // 2 - reach_v
    cut, fill, pull = 0.0, 0.0, 0.0
    for i in range(2 * reach_v + 1):
        for j in range(2 * reach_u + 1):
            weight = weights[1, i] * weights[0, j]
            d = window[i + spare_v, j + spare_u] - (level + east * (j - reach_u) + south * (i - reach_v))
            cut, fill = cut + weight * max(d, 0.0), fill + weight * max(-d, 0.0)
            pull += weight if d > 0.0 else weight * shrink
    return cut, fill, pull


@njit(**INNER)
def _deepest(window, low, half, plane):
    """Return the highest and the lowest depth at heights on the pad, along its edges and at its corners: bilinear ground over a plane
    is highest and lowest nowhere else."""
    (half_u, half_v), (level, east, south) = half, plane
    out_u, out_v = window.shape[1] // 2, window.shape[0] // 2
    top, bottom = -np.inf, np.inf
    for i in range(-out_v, out_v + 1):
        v = min(max(np.float64(i), -half_v), half_v)
        for j in range(-out_u, out_u + 1):
            u = min(max(np.float64(j), -half_u), half_u)
            d = _between(window, v, u, low) - (level + east * u + south * v)
            top, bottom = max(top, d), min(bottom, d)
    return top, bottom


@njit(**INNER)
def _between(window, v, u, low):
    """Return the height at a point, bilinear; only the last line each way lies between heights."""
    on_v, on_u = min(max(int(v), -low[1]), low[1]), min(max(int(u), -low[0]), low[0])
    part_v, part_u = abs(v - on_v), abs(u - on_u)
    i, j = on_v + window.shape[0] // 2, on_u + window.shape[1] // 2
    next_i = i + (1 if v > on_v else (-1 if v < on_v else 0))
    next_j = j + (1 if u > on_u else (-1 if u < on_u else 0))
    here = window[i, j] + part_u * (window[i, next_j] - window[i, j])
    below = window[next_i, j] + part_u * (window[next_i, next_j] - window[next_i, j])
    return here + part_v * (below - here)
