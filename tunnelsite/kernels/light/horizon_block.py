"""Rows on their way into the skylines of scan lines: a block of them at a time, most of whose samples are sorted out beforehand.

A sample that a nearer one hides, or a chord between a farther and a nearer one, is no cell's horizon. Nearer rows count although they are
in no skyline yet, as long as every observer who looks at the block has them in his near march.
"""

import numpy as np

from tunnelsite.kernels.compiled import njit
from tunnelsite.kernels.options import APART, BARE

BLOCK = 16  # rows that enter the skylines together
HELD = 6 * BLOCK  # rows of crossings that are held; three blocks are looked at, one farther and one nearer
_UNROLLED = 4  # 8 gains no more


@njit(**BARE)
def next_block(flat, columns, plan, line0, known, near, crossed, held, above, mask):
    """Set mask to the `survivors` of the block that starts at march row known, which every observer sees beyond near rows. Return its rows.

    crossed [HELD, 1 + lines + 1], the first of the lines at line0: the heights where they and one more on either side cross the march
    rows held = (first, end), NaN elsewhere; the rows that are needed come in.
    """
    block = max(1, min(BLOCK, near))
    count = block - (known + plan.anchor) % block
    if known + 2 * BLOCK - held[0] > HELD:
        _to_front(crossed, held, known - BLOCK)
    end = known + block + min(BLOCK, near - block)
    for k in range(held[1], end):
        row = k if plan.ahead < 0 else flat.size // columns - 1 - k
        _cross_row(flat, columns, row, line0 - 1 + plan.shift[k], plan.offset[k], crossed[k - held[0]])
    held[1] = end
    survivors(crossed, known - held[0], np.float32(plan.drop), above, mask)
    for i in range(np.uint64(mask.size)):
        mask[i] &= np.int32((1 << count) - 1)
    return count


@njit(**BARE)
def _to_front(crossed, held, first):
    """Move the rows from march row first on to the front."""
    flat, lines = crossed.reshape(-1), crossed.shape[1]
    away, left = np.uint64((first - held[0]) * lines), np.uint64((held[1] - first) * lines)
    for i in range(left):
        flat[i] = flat[away + i]
    flat[left:] = np.nan
    held[0] = first


@njit(**APART)
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
def survivors(crossed, first, drop, above, mask):
    """Set bit k of mask for the lines whose sample on row k of a block can still be a horizon.

    crossed, see `next_block`: the block starts at its row first, from far to near, after BLOCK rows farther than it and before BLOCK
    nearer ones. above [lines] is overwritten. A sample not higher than a nearer one, or on or below the chord of its neighbours one, two,
    four, eight or sixteen rows away, never is; see `push`, which settles the rest.
    """
    flat = crossed.reshape(-1)
    above[:] = -np.inf
    mask[:] = 0
    for nearer in range(first + BLOCK, first + 2 * BLOCK, _UNROLLED):
        _raise(flat, nearer, above)
    for last in range(BLOCK - 1, 0, -_UNROLLED):
        _survivors(flat, first + last, last, drop, above, mask)


@njit(**APART)
def _raise(flat, row, above):
    """Raise above to what a line and its two neighbours have in a few rows, so that a ray between two of them meets it too."""
    n = np.uint64(above.size)
    start = np.uint64(row) * (n + np.uint64(2))
    for i in range(n):
        high = above[i]
        for j in range(_UNROLLED):
            at = start + np.uint64(j) * (n + np.uint64(2)) + i
            z, a, b = flat[at + np.uint64(1)], flat[at], flat[at + np.uint64(2)]
            high = min(min(a, b), z) if (z > high) & (a > high) & (b > high) else high
        above[i] = high


@njit(**APART)
def _survivors(flat, last, bit, drop, above, mask):
    """The block rows last, last - 1, ...: few, and of constant number, or the loop over lines is not vectorised."""
    n = np.uint64(mask.size + 2)
    n2, n4, n8, n16 = np.uint64(2) * n, np.uint64(4) * n, np.uint64(8) * n, np.uint64(16) * n
    one, two, four = np.float32(2.0) * drop, np.float32(8.0) * drop, np.float32(32.0) * drop
    eight, sixteen = np.float32(128.0) * drop, np.float32(512.0) * drop
    start = np.uint64(last) * n + np.uint64(1)
    for i in range(np.uint64(mask.size)):
        high, bits = above[i], np.int32(0)
        for j in range(_UNROLLED):
            at = start - np.uint64(j) * n + i
            z = flat[at]
            below = (
                (z - flat[at - n] <= flat[at + n] - z - one)
                | (z - flat[at - n2] <= flat[at + n2] - z - two)
                | (z - flat[at - n4] <= flat[at + n4] - z - four)
                | (z - flat[at - n8] <= flat[at + n8] - z - eight)
                | (z - flat[at - n16] <= flat[at + n16] - z - sixteen)
            )
            bits |= np.int32(1 << (_UNROLLED - 1 - j)) if (z > high) & (not below) else np.int32(0)
            high = z if z > high else high
        above[i] = high
        mask[i] |= bits << (bit - _UNROLLED + 1)
