"""Skylines of scan lines: what of the land far ahead can still be somebody's horizon, and who sees which of
it.

Each line keeps a stack of vertices that falls and is concave from far to near. Slopes of sight from any eye
rise and then fall along it, so the steepest is found by halving; mostly it is the vertex that the line's last
observer saw. That vertex and its two neighbours are therefore laid out beside each other for all lines of a
strip (`watch`), so that "still the same vertex?" is one vectorised comparison.
"""

import numpy as np
from numba import njit

from tunnelsite.kernels.horizon_near import FAST

NOTHING = np.float32(-1e30)  # height [m] that stands for an empty skyline


@njit(**FAST)
def push(line_z, p, heights, places, tops, guess, watch, drop):
    """Add one sample per line (line_z, NaN: none, at march row p) to the skylines and bring `watch` up to
    date.

    A vertex not higher than a nearer one can never be the horizon of an observer it rises above; one on or
    below the chord of its neighbours never is. On a curved Earth the chord test runs on z - drop p^2: see
    `earth_drop_per_m`.
    """
    fp = np.float32(p)
    for i in range(line_z.size):
        z = line_z[i]
        if z != z:
            continue
        w = z - drop * fp * fp
        top = tops[i]
        while top >= 0:
            zb = heights[top, i]
            if zb > z:
                if top == 0:
                    break
                pb = places[top, i]
                pa = places[top - 1, i]
                wb = zb - drop * pb * pb
                wa = heights[top - 1, i] - drop * pa * pa
                if (wb - wa) * (fp - pa) > (w - wa) * (pb - pa):
                    break
            top -= 1
        top += 1
        heights[top, i] = z
        places[top, i] = fp
        tops[i] = top
        if top <= guess[i]:  # the watched vertex is gone: the new one takes its place
            guess[i] = top
            farther = max(top - 1, 0)
            watch[0, i] = z
            watch[1, i] = fp
            watch[4, i] = heights[farther, i]
            watch[5, i] = places[farther, i]
        if top <= guess[i] + 1:
            watch[2, i] = z
            watch[3, i] = fp


@njit(inline="always", **FAST)
def aim(i, vertex, heights, places, tops, guess, watch):
    """Make a vertex the one that line i watches."""
    nearer = min(vertex + 1, tops[i])
    farther = max(vertex - 1, 0)
    guess[i] = vertex
    watch[0, i] = heights[vertex, i]
    watch[1, i] = places[vertex, i]
    watch[2, i] = heights[nearer, i]
    watch[3, i] = places[nearer, i]
    watch[4, i] = heights[farther, i]
    watch[5, i] = places[farther, i]


@njit(**FAST)
def glance(watch, line0, p, eye, drop, per_step, tangent, steps, missed):
    """Tangent from each eye (march row p) to its line's watched vertex, steps to it, and whether another is
    steeper.

    The first eye's line is line0. One flat array and unsigned indices, or the loop is not vectorised.
    """
    fp = np.float32(p)
    flat = watch.reshape(-1)
    lines = watch.shape[1]
    v, n, f = np.uint64(line0), np.uint64(line0 + 2 * lines), np.uint64(line0 + 4 * lines)
    one = np.uint64(lines)
    for i in range(np.uint64(eye.size)):
        e = eye[i]
        d = fp - flat[v + one + i]
        dn = fp - flat[n + one + i]
        df = fp - flat[f + one + i]
        z = flat[v + i] - e - drop * d * d
        zn = flat[n + i] - e - drop * dn * dn
        zf = flat[f + i] - e - drop * df * df
        tangent[i] = z * per_step / d
        steps[i] = d
        missed[i] = np.float32(1.0) if (zn * d > z * dn) | (zf * d > z * df) else np.float32(0.0)


@njit(**FAST)
def steepest(i, eye, p, heights, places, top, drop):
    """Index of line i's vertex with the steepest line of sight from height eye at march row p."""
    low = 0
    high = top
    fp = np.float32(p)
    while low < high:
        probe = (low + high) >> 1
        d = fp - places[probe, i]
        dn = fp - places[probe + 1, i]
        z = heights[probe, i] - eye - drop * d * d
        zn = heights[probe + 1, i] - eye - drop * dn * dn
        if zn * d > z * dn:
            low = probe + 1
        else:
            high = probe
    return low
