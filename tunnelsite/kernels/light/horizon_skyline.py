"""Skylines of scan lines: what of the land far ahead can still be a horizon, and who sees which of
it.

Each line keeps a stack of vertices that falls and is concave from far to near. Slopes of sight from any eye
rise and then fall along it, so the steepest is found by halving; mostly it is the vertex that the line's last
observer saw. That vertex and its two neighbours are therefore laid out beside each other for all lines of a
strip (`watch`), so that "still the same vertex?" is one vectorised comparison.
"""

import numpy as np

from tunnelsite.kernels.compiled import njit
from tunnelsite.kernels.options import BARE

BLOCK = 16  # rows that enter the skylines together, most of their samples sorted out beforehand
BESIDE = 4  # rows looked at on either side of a block
_UNROLLED = 4  # 8 gains no more
_DE_BRUIJN = np.int32(0x09AF)  # times a power of two, its top four bits of 16 name the power
_PLACE = np.zeros(16, np.int32)
for _k in range(16):
    _PLACE[((0x09AF << _k) >> 12) & 15] = _k
AGREE = np.float32(0.002)  # tangents of two neighbouring lines closer than this are interpolated
NOTHING = np.float32(-1e30)  # height [m] that stands for an empty skyline


@njit(**BARE)
def _cross_row(flat, columns, row, line0, offset, line_z):
    """Set line_z to the heights where scan lines, the first at column line0 + offset, cross a row."""
    n = line_z.size
    side = 0 if offset == 0.0 else (1 if offset > 0.0 else -1)
    f = np.float32(abs(offset))
    low = min(max(0, -line0, -(line0 + side)), n)
    high = max(low, min(n, columns - line0, columns - line0 - side))
    line_z[:low] = np.nan
    line_z[high:] = np.nan
    here = np.uint64(row * columns + line0 + low)
    there = np.uint64(row * columns + line0 + side + low)
    o = np.uint64(low)
    for i in range(np.uint64(high - low)):
        z = flat[here + i]
        line_z[o + i] = z + f * (flat[there + i] - z)


@njit(**BARE)
def cross_block(flat, columns, plan, line0, first, count, crossed):
    """Fill crossed, see `survivors`, with the march rows first, first + 1, ... of a block."""
    rows = flat.size // columns
    crossed[:] = np.nan
    for k in range(max(first - BESIDE, 0), first + count):
        row = k if plan.ahead < 0 else rows - 1 - k
        _cross_row(flat, columns, row, line0 + plan.shift[k], plan.offset[k], crossed[k - first + BESIDE])


@njit(**BARE)
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


@njit(**BARE)
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


@njit(**BARE, forceinline=True)
def aim(i, vertex, heights, places, tops, guess, watch):
    """Make a vertex the one that line i watches."""
    nearer = max(vertex, min(vertex + 1, tops[i]))  # of none there is the first alone
    farther = max(vertex - 1, 0)
    guess[i] = vertex
    watch[0, i] = heights[vertex, i]
    watch[1, i] = places[vertex, i]
    watch[2, i] = heights[nearer, i]
    watch[3, i] = places[nearer, i]
    watch[4, i] = heights[farther, i]
    watch[5, i] = places[farther, i]


@njit(**BARE)
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


@njit(**BARE)
def between(a, b, share):
    """(the horizon, at least 0, between two lines that have tangents a and b, whether they are too far apart to be interpolated).

    The horizon is 0 where they are.
    """
    apart = (abs(b - a) > AGREE) & ((a > np.float32(0.0)) | (b > np.float32(0.0)))
    s = a + share * (b - a)
    return s if (s > np.float32(0.0)) & (not apart) else np.float32(0.0), apart


@njit(**BARE)
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
def sight(i, vertex, eye, p, heights, places, drop):
    """(tangent [1 / step], steps) from height eye at march row p to a vertex of line i."""
    d = np.float32(p) - places[vertex, i]
    return (heights[vertex, i] - eye - drop * d * d) / d, d


@njit(**BARE)
def steepest(i, eye, p, heights, places, top, drop, guess):
    """Index of line i's vertex with the steepest line of sight from height eye at march row p, sought from a guess outwards."""
    low, high, step, fp = 0, top, 0, np.float32(p)
    probe = min(guess, top - 1)
    while low < high:
        d = fp - places[probe, i]
        dn = fp - places[probe + 1, i]
        z = heights[probe, i] - eye - drop * d * d
        zn = heights[probe + 1, i] - eye - drop * dn * dn
        if zn * d > z * dn:
            low = probe + 1
            probe = min(low + step, (low + high) >> 1)
        else:
            high = probe
            probe = max(high - 1 - step, (low + high) >> 1)
        step = 2 * step + 1
    return low
