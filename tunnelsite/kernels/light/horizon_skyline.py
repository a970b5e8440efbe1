"""Skylines of scan lines: what of the land far ahead can still be a horizon, and who sees which of
it.

Each line keeps a stack of vertices that falls and is concave from far to near. Slopes of sight from any eye
rise and then fall along it, so the steepest is found by halving; mostly it is the vertex that the line's last
observer saw. That vertex and its two neighbours are therefore laid out beside each other for all lines of a
strip (`watch`), so that "still the same vertex?" is one vectorised comparison.
"""

import numpy as np

from tunnelsite.kernels.compiled import njit
from tunnelsite.kernels.options import FAST_INNER

BLOCK = 16  # rows that enter the skylines together, most of their samples sorted out beforehand
BESIDE = 4  # rows looked at on either side of a block
_UNROLLED = 4  # 8 gains no more
_DE_BRUIJN = np.int32(0x09AF)  # times a power of two, its top four bits of 16 name the power
_PLACE = np.zeros(16, np.int32)
for _k in range(16):
    _PLACE[((0x09AF << _k) >> 12) & 15] = _k
NOTHING = np.float32(-1e30)  # height [m] that stands for an empty skyline


@njit(**FAST_INNER)
def survivors(rows, drop, above, mask):
    """Set bit k of mask for the lines whose sample on block row k can still be a horizon.

    rows [BESIDE + BLOCK + BESIDE, lines] float32, NaN: none: rows farther than the block, the block from far to near, and none;
    above [lines] is overwritten. A sample not higher than a nearer one of the block, or on or below the chord of its
    neighbours one, two or four rows away, never is; see `push`, which settles the rest.
    """
    above[:] = -np.inf
    mask[:] = 0
    for last in range(BLOCK - 1, 0, -_UNROLLED):
        _survivors(rows.reshape(-1), last, drop, above, mask)


@njit(**FAST_INNER)
def _survivors(flat, last, drop, above, mask):
    """The block rows last, last - 1, ...: few, and of constant number, or the loop over lines is not vectorised."""
    n, n2, n4 = np.uint64(mask.size), np.uint64(2 * mask.size), np.uint64(4 * mask.size)
    one, two, four = np.float32(2.0) * drop, np.float32(8.0) * drop, np.float32(32.0) * drop
    start = np.uint64((BESIDE + last) * mask.size)
    for i in range(n):
        high, bits = above[i], np.int32(0)
        for j in range(_UNROLLED):
            at = start - np.uint64(j) * n + i
            z = flat[at]
            below = (
                (z - flat[at - n] <= flat[at + n] - z - one)
                | (z - flat[at - n2] <= flat[at + n2] - z - two)
                | (z - flat[at - n4] <= flat[at + n4] - z - four)
            )
            bits |= np.int32(1 << (_UNROLLED - 1 - j)) if (z > high) & (not below) else np.int32(0)
            high = z if z > high else high
        above[i] = high
        mask[i] |= bits << (last - _UNROLLED + 1)


@njit(**FAST_INNER, forceinline=True)
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


@njit(**FAST_INNER)
def push(rows, mask, first, heights, places, tops, guess, watch, drop):
    """Add a block's samples that `survivors` left, the block starting at march row first, to the skylines and bring `watch`
    up to date.

    A vertex not higher than a nearer one can never be the horizon of an observer it rises above; one on or
    below the chord of its neighbours never is. On a curved Earth the chord test runs on z - drop p^2: see
    `earth_drop_per_m`.
    """
    for i in range(mask.size):
        bits = mask[i]
        if bits == 0:
            continue
        top = tops[i]
        lowest = top + 1
        while bits:
            k = _PLACE[(((bits & -bits) * _DE_BRUIJN) >> 12) & 15]
            bits &= bits - 1
            z, fp = rows[BESIDE + k, i], np.float32(first + k)
            w = z - drop * fp * fp
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
            lowest = min(lowest, top)
        tops[i] = top
        if lowest <= guess[i]:  # the watched vertex is gone: the new one takes its place
            aim(i, lowest, heights, places, tops, guess, watch)
        elif lowest == guess[i] + 1:
            aim(i, guess[i], heights, places, tops, guess, watch)


@njit(**FAST_INNER)
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
        missed[i] = (zn * d > z * dn) | (zf * d > z * df)


@njit(**FAST_INNER)
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
