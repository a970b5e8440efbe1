"""Skylines of scan lines: what of the land far ahead can still be a horizon, and who sees which of
it.

Each line keeps a stack of vertices that falls and is concave from far to near. Slopes of sight from any eye
rise and then fall along it, so the steepest is found by halving; mostly it is the vertex that the line's last
observer saw. That vertex and its two neighbours are therefore laid out beside each other for all lines of a
strip (`watch`), so that "still the same vertex?" is one vectorised comparison.
"""

import numpy as np

from tunnelsite.kernels.compiled import njit
from tunnelsite.kernels.options import APART, BARE

_DE_BRUIJN = np.int32(0x09AF)  # times a power of two, its top four bits of 16 name the power
_PLACE = np.zeros(16, np.int32)
for _k in range(16):
    _PLACE[((0x09AF << _k) >> 12) & 15] = _k
EIGHTH = np.int64(0x0001020304050607)  # times a power of 256, its top eight bits say which
AGREE = np.float32(0.002)  # tangents of two neighbouring lines closer than this are interpolated
NOTHING = np.float32(-1e30)  # height [m] that stands for an empty skyline


@njit(**BARE, forceinline=True)
def aim(i, vertex, heights, places, tops, guess, watch):
    """Make a vertex the one that line i watches."""
    lines = np.uint64(tops.size)
    at = np.uint64(vertex) * lines + i
    nearer = at + (lines if vertex < tops[i] else np.uint64(0))  # of none there is the first alone
    farther = at - (lines if vertex > 0 else np.uint64(0))
    guess[i] = vertex
    seen = watch.reshape(-1)
    seen[i] = heights[at]
    seen[lines + i] = places[at]
    seen[np.uint64(2) * lines + i] = heights[nearer]
    seen[np.uint64(3) * lines + i] = places[nearer]
    seen[np.uint64(4) * lines + i] = heights[farther]
    seen[np.uint64(5) * lines + i] = places[farther]


@njit(**APART)
def push(rows, start, mask, first, heights, places, tops, guess, watch, drop):
    """Add a block's samples that `survivors` left, rows[start] and those after it, the block starting at march row first, to the skylines
    and bring `watch` up to date.

    A vertex not higher than a nearer one can never be the horizon of an observer it rises above; one on or
    below the chord of its neighbours never is. On a curved Earth the chord test runs on z - drop p^2: see
    `earth_drop_per_m`. Below the first vertex lies NOTHING, so deep that no chord to it hides one. The last two vertices are
    kept at hand.
    """
    lines, samples = np.uint64(mask.size), rows.reshape(-1)
    across = lines + np.uint64(2)
    for i in range(lines):
        bits = mask[i]
        if bits == 0:
            continue
        top = tops[i]
        lowest, at = top + 1, np.uint64(top) * lines + i
        zb, pb = heights[at], places[at]
        at -= lines if top > 0 else np.uint64(0)
        za, pa = heights[at], places[at]
        wb, wa = zb - drop * pb * pb, za - drop * pa * pa
        while bits:
            k = _PLACE[(((bits & -bits) * _DE_BRUIJN) >> 12) & 15]
            bits &= bits - 1
            z, fp = samples[np.uint64(start + k) * across + np.uint64(1) + i], np.float32(first + k)
            w = z - drop * fp * fp
            while top > 0 and not ((zb > z) & ((wb - wa) * (fp - pa) > (w - wa) * (pb - pa))):
                top -= 1
                zb, pb, wb = za, pa, wa
                at -= lines if top > 0 else np.uint64(0)
                za, pa = heights[at], places[at]
                wa = za - drop * pa * pa
            za, pa, wa, zb, pb, wb = zb, pb, wb, z, fp, w
            at = np.uint64(top) * lines + i
            top += 1
            heights[at + lines], places[at + lines] = z, fp
            lowest = min(lowest, top)
        tops[i] = top
        if lowest <= guess[i]:  # the watched vertex is gone: the new one takes its place
            aim(i, lowest, heights, places, tops, guess, watch)
        elif lowest == guess[i] + 1:
            aim(i, guess[i], heights, places, tops, guess, watch)


@njit(**BARE)
def between(a, b, share):
    """(the horizon, at least 0, between two lines that have tangents a and b, whether they are too far apart to be interpolated).

    The horizon is 0 where they are.
    """
    apart = (abs(b - a) > AGREE) & ((a > np.float32(0.0)) | (b > np.float32(0.0)))
    s = a + share * (b - a)
    return s if (s > np.float32(0.0)) & (not apart) else np.float32(0.0), apart


@njit(**APART)
def glance(watch, lines, at, eye, scale, best, seen):
    """Look from each eye to the vertices watched by two lines, lines = the first eye's: set best to the horizon `between` them.

    at = (march row, share of the second line); scale = (drop, 1 / row step). Sets seen = ((tangents, steps), (tangents, steps), (missed,
    _), (apart, _)): either line's, whether another vertex than the watched one is steeper, and whether the lines are apart.
    One flat array and unsigned indices, or the loop is not vectorised.
    """
    fp, share, (drop, per_step) = np.float32(at[0]), at[1], scale
    (tangents0, steps0), (tangents1, steps1), (missed, _), (apart, _) = seen
    flat, row = watch.reshape(-1), np.uint64(watch.shape[1])
    v, w = np.uint64(lines[0]), np.uint64(lines[1])
    for i in range(np.uint64(eye.size)):
        a, d, other = _watched(flat, row, v + i, eye[i], fp, drop)
        b, db, others = _watched(flat, row, w + i, eye[i], fp, drop)
        a, b = a * per_step, b * per_step
        tangents0[i], steps0[i], tangents1[i], steps1[i] = a, d, b, db
        missed[i] = other | others
        best[i], apart[i] = between(a, b, share)


@njit(**BARE)
def _watched(flat, row, at, e, fp, drop):
    """(tangent to the watched vertex of a line [1 / step], steps to it, whether one beside it is steeper)."""
    d = fp - flat[at + row]
    dn = fp - flat[at + np.uint64(3) * row]
    df = fp - flat[at + np.uint64(5) * row]
    z = flat[at] - e - drop * d * d
    zn = flat[at + np.uint64(2) * row] - e - drop * dn * dn
    zf = flat[at + np.uint64(4) * row] - e - drop * df * df
    return z / d, d, (zn * d > z * dn) | (zf * d > z * df)


@njit(**BARE)
def sight(at, eye, p, heights, places, drop):
    """(tangent [1 / step], steps) from height eye at march row p to the vertex at heights[at]."""
    d = np.float32(p) - places[at]
    return (heights[at] - eye - drop * d * d) / d, d


@njit(**BARE)
def steepest(i, eye, p, heights, places, tops, drop, guess):
    """Index of line i's vertex with the steepest line of sight from height eye at march row p, sought from a guess outwards."""
    low, high, step, fp = np.int64(0), tops[i], np.int64(0), np.float32(p)
    lines = np.uint64(tops.size)
    probe = min(guess[i], high - 1)
    while low < high:
        at = np.uint64(probe) * lines + i
        d, dn = fp - places[at], fp - places[at + lines]
        z = heights[at] - eye - drop * d * d
        zn = heights[at + lines] - eye - drop * dn * dn
        if zn * d > z * dn:
            low = probe + 1
            probe = min(low + step, (low + high) >> 1)
        else:
            high = probe
            probe = max(high - 1 - step, (low + high) >> 1)
        step = 2 * step + 1
    return low
