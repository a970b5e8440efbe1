"""The near march of the horizon engine: every crossing within a few rows, for a whole strip of cells at a
time.

Most of these crossings lie too low to matter. The greatest height near each scan line is therefore kept for groups of rows (`roof`), and
a group is marched only for the columns from which its greatest height would rise above the horizon that is known already. What is
passed over could change nothing: the results are those of the whole march, to the bit.
"""

import numpy as np

from tunnelsite.kernels.compiled import njit
from tunnelsite.kernels.options import APART, BARE

GROUP = 8  # rows that are passed over together
ASIDE = 2  # lines on either side whose cells a ray from a cell of a line may meet
_APART = 2  # runs of eight columns are marched together if no more than so many lie between them


@njit(**APART)
def roof(flat, columns, plan, line0, first, raw, out):
    """Set out [lines] to the greatest height that rays from cells of each line can meet in march rows first to first + GROUP.

    line0: the first of the lines; raw [lines + 2 ASIDE] is overwritten. NaN casts nothing; -inf: nothing is there.
    """
    raw[:] = -np.inf
    for k in range(first, min(first + GROUP + 1, flat.size // columns)):
        row = k if plan.ahead < 0 else flat.size // columns - 1 - k
        column = line0 - ASIDE + plan.shift[k]
        low = max(-column, 0)
        o, at = np.uint64(low), np.uint64(row * columns + column + low)
        for i in range(np.uint64(max(min(raw.size, columns - column) - low, 0))):
            z = flat[at + i]
            raw[o + i] = z if z > raw[o + i] else raw[o + i]
    for i in range(np.uint64(out.size)):
        z = raw[i]
        for k in range(np.uint64(1), np.uint64(2 * ASIDE + 1)):
            z = max(z, raw[i + k])
        out[i] = z + abs(z) * np.float32(5e-7)  # a height between two cells may be rounded up


@njit(**BARE)
def _runs(eights, n, runs):
    """Set runs [eights, 2] to the first and the end of what is not 0 of n bytes, eight at a time. Return how many there are."""
    many, e, seen, words = np.int64(0), np.uint64(0), np.uint64(0), np.uint64(eights.size)
    while e < words:
        if (
            e + np.uint64(4) <= words
            and eights[e] | eights[e + np.uint64(1)] | eights[e + np.uint64(2)] | eights[e + np.uint64(3)] == 0
        ):
            e += np.uint64(4)  # mostly there is nothing for long
            continue
        if eights[e] != 0:
            if many == 0 or e - seen > np.uint64(_APART):
                runs[many, 0] = np.int64(np.uint64(8) * e)
                many += 1
            runs[many - 1, 1] = min(np.int64(np.uint64(8) * e) + 8, n)
            seen = e
        e += np.uint64(1)
    return many


@njit(**BARE)
def march_near(flat, columns, plan, start, line, eye, best, steps, roofs, marks):
    """Raise best to the steepest near sample of a strip row that starts at start = (march row, cell, column), on scan line `line`.

    steps: the rows that are marched. roofs [groups, lines]: the roof of rows GROUP g to GROUP (g + 1) at g % groups; marks
    = (rises [lines], eights, the same eight at a time, runs [eights, 2]) are overwritten. Return the part that had to be marched.
    """
    p, n = start[0], eye.size
    count, rings = plan.near_count, len(roofs)
    tops, marched = roofs.reshape(-1), np.int64(0)
    rises, eights, runs = marks[0], marks[1][: (n + 7) // 8], marks[2]
    eights[-1] = 0
    for group in range((p - steps) // GROUP, p // GROUP + 1):  # from afar: uphill the farthest rise highest
        first, last = count[max(p - GROUP * (group + 1), 0)], count[min(p - GROUP * group, steps)]
        if first >= last:
            continue
        inverse = plan.near_factors[first, 1]
        lift = min(plan.near_factors[last - 1, 2], np.float32(0.0))
        above = np.uint64((group % rings) * roofs.shape[1] + line)
        for i in range(np.uint64(n)):
            rises[i] = max(tops[above + i] - eye[i], np.float32(0.0)) * inverse - lift > best[i]
        many = _runs(eights, n, runs)
        if many > 0:
            march(flat, columns, plan.near_cells, plan.near_factors, start, runs[:many], (first, last), eye, best)
            for r in range(many):
                marched += (runs[r, 1] - runs[r, 0]) * (last - first)
    return marched / (n * max(count[steps], 1))


@njit(**BARE)
def _march_sides(flat, cells, factors, q, start, span, eye, best):
    """One sample of the near march for the columns low..high of a strip row: start = (cell, column), span =
    columns."""
    a, b = start + cells[q, 0], start + cells[q, 1]
    f, inverse, drop = factors[q, 0], factors[q, 1], factors[q, 2]
    for i in range(span[0], span[1]):
        z = flat[np.uint64(a + i)]
        v = (z + f * (flat[np.uint64(b + i)] - z) - eye[i]) * inverse - drop
        best[i] = v if v > best[i] else best[i]


@njit(**APART)
def march(flat, columns, cells, factors, start, runs, samples, eye, best):
    """Raise best to the steepest of some near samples for runs [n, (first, end)] of columns of a strip row that starts at (march row,
    cell, column).

    Four samples a sweep, so that eye and best stay in registers; unsigned indices, so that the sweep is
    vectorised.
    """
    _p, cell, column = start
    for q in range(samples[0], samples[1], 4):
        q1, q2, q3 = min(q + 1, samples[1] - 1), min(q + 2, samples[1] - 1), min(q + 3, samples[1] - 1)
        # the steps aside only grow, so that the first and the last of the four meet the grid's sides first
        left = -(column + min(cells[q, 2], cells[q3, 2]))
        right = columns - column - max(cells[q, 3], cells[q3, 3])
        f0, i0, d0 = factors[q, 0], factors[q, 1], factors[q, 2]
        f1, i1, d1 = factors[q1, 0], factors[q1, 1], factors[q1, 2]
        f2, i2, d2 = factors[q2, 0], factors[q2, 1], factors[q2, 2]
        f3, i3, d3 = factors[q3, 0], factors[q3, 1], factors[q3, 2]
        a0, b0 = cell + cells[q, 0], cell + cells[q, 1]
        a1, b1 = cell + cells[q1, 0], cell + cells[q1, 1]
        a2, b2 = cell + cells[q2, 0], cell + cells[q2, 1]
        a3, b3 = cell + cells[q3, 0], cell + cells[q3, 1]
        for r in range(np.uint64(len(runs))):
            low = min(max(runs[r, 0], left), runs[r, 1])
            high = max(min(runs[r, 1], right), low)
            first, many = low, high - low
            if many > 8:
                many &= ~7
            while first < high:  # whole vectors, the last of them over again what the first ones leave
                for i in range(np.uint64(first), np.uint64(first + many)):
                    e = eye[i]
                    m = best[i]
                    z = flat[np.uint64(a0) + i]
                    v = (z + f0 * (flat[np.uint64(b0) + i] - z) - e) * i0 - d0
                    m = v if v > m else m
                    z = flat[np.uint64(a1) + i]
                    v = (z + f1 * (flat[np.uint64(b1) + i] - z) - e) * i1 - d1
                    m = v if v > m else m
                    z = flat[np.uint64(a2) + i]
                    v = (z + f2 * (flat[np.uint64(b2) + i] - z) - e) * i2 - d2
                    m = v if v > m else m
                    z = flat[np.uint64(a3) + i]
                    v = (z + f3 * (flat[np.uint64(b3) + i] - z) - e) * i3 - d3
                    best[i] = v if v > m else m
                if first + many == high:
                    break
                first, many = high - 8, 8
            if (
                low > runs[r, 0] or high < runs[r, 1]
            ):  # beside the grid's sides only some of the four samples lie inside the data
                for s in range(q, q3 + 1):
                    first, last = (
                        max(runs[r, 0], -(column + cells[s, 2])),
                        min(runs[r, 1], columns - column - cells[s, 3]),
                    )
                    _march_sides(flat, cells, factors, s, cell, (first, min(last, low)), eye, best)
                    _march_sides(flat, cells, factors, s, cell, (max(first, high), last), eye, best)
