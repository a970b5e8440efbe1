"""Planes of one tile, row by row: column sums slide down, window sums slide along, eight runs of a row side by side.

With u and v counted in cells from the middle of a placement, sums of w z, w v z, w v^2 z and w z^2 stand for each column.
Moving down by a row takes v to v - 1, so sum(w v z) loses sum(w z), and so on (binomial); then only the ends of the
column change. The same holds along the row for u.
"""

import numpy as np

from tunnelsite.kernels.compiled import njit
from tunnelsite.kernels.options import INNER
from tunnelsite.kernels.terrain.lanes import LANES, expect, gathered, lanes_of, load, single_root, spread, store

# Offsets are unsigned, as `lanes` wants them: of vectors, of the four sums of a place, of the block of one result.
ONE, SEVEN, EIGHT = np.uint64(1), np.uint64(LANES - 1), np.uint64(LANES)
TWICE, THRICE, FOUR_SUMS = np.uint64(2 * LANES), np.uint64(3 * LANES), np.uint64(4 * LANES)
BLOCK = np.uint64(LANES * LANES)
# A block of one result in cache lines, and the float32 of one line.
LINE_CELLS = np.uint64(16)
LINES = LANES * LANES // 16


@njit(**INNER)
def slide_down(ground, window, ends, scales, datum, asked, corner, out, fraction):
    """Write the asked rows (first, past the last) of a tile to `out`; `corner` is where its first placement goes.

    A row is cut into eight runs. The last rows of the ground are kept in a ring, turned so that a vector holds one cell
    of each run; behind the end of the row lies the datum.
    """
    (reach_u, _, _), (reach_v, outer, _) = ends
    count = window[3] - window[2] - 2 * reach_u
    length = (count + LANES * LANES - 1) // (LANES * LANES) * LANES  # of a run: turned in blocks of LANES
    cells = length + 2 * reach_u
    depth, step = 2 * reach_v + 2, cells * LANES
    ring, sums = np.empty(depth * step, ground.dtype), np.zeros(4 * step)
    line, shown = (
        np.full(LANES * length + 2 * reach_u, ground.dtype.type(datum)),
        np.empty(5 * LANES * length, np.float32),
    )
    ring[:step] = datum  # the row above the first weighs nothing
    for k in range(2 * reach_v + asked[1]):
        _copy_in(ground, window[0] + k, window[2], line, count + 2 * reach_u)
        slot = np.uint64((k + 1) % depth * step)
        for i in range(0, cells + LANES - 1, LANES):
            at = np.uint64(min(i, cells - LANES))
            gathered(line, at, np.uint64(length), ring, slot + at * EIGHT)
        r = k - 2 * reach_v
        if r < 0:
            _add_row(ring, slot, sums, k + 1 - reach_v, outer if r == -1 else 1.0, datum)
            continue
        above = (np.uint64(k % depth * step), np.uint64((r + 1) % depth * step), np.uint64(r % depth * step))
        lines = (slot, above[0], above[1], above[2])
        row = corner[0] + max(r, asked[0])
        layers = (out[0][row], out[1][row], out[2][row], out[3][row], out[4][row])
        _slide_along(ring, lines, sums, ends, scales, datum, (length, corner[1]), shown, layers, fraction)
        if r >= asked[0]:
            _copy_out(shown, LANES * length, layers, corner[1], count)


@njit(**INNER)
def _copy_in(ground, row, left, line, count):
    """Copy `count` cells of a row of the ground."""
    r, a = np.uint64(row), np.uint64(left)
    for c in range(np.uint64(count)):
        line[c] = ground[r, a + c]


@njit(**INNER)
def _copy_out(shown, step, layers, left, count):
    """Copy the five results of a row into the rows of the output layers."""
    a = np.uint64(left)
    for k in range(5):
        layer, offset = layers[k], np.uint64(k * step)
        for c in range(np.uint64(count)):
            layer[a + c] = shown[offset + c]


@njit(**INNER)
def _add_row(ring, slot, sums, v, weight, datum):
    """Add a row of the ground, `v` rows below the middle, to the weighted sums of z, v z, v^2 z and z^2."""
    w, wv, wvv = np.float64(weight), np.float64(weight * v), np.float64(weight * v * v)
    for i in range(np.uint64(sums.size // (4 * LANES))):
        z, at = load(ring, slot + i * EIGHT) - datum, i * FOUR_SUMS
        store(sums, at, load(sums, at) + w * z)
        store(sums, at + EIGHT, load(sums, at + EIGHT) + wv * z)
        store(sums, at + TWICE, load(sums, at + TWICE) + wvv * z)
        store(sums, at + THRICE, load(sums, at + THRICE) + w * z * z)


@njit(**INNER, forceinline=True)
def _slid(ring, lines, sums, i, across, datum, fraction):
    """Move the four column sums of place `i` of every run down by a row, keep and return them.

    Seen from the new middle, the rows `reach` and `reach` - 1 below gain the weights `outer` and `inner`, and the two
    rows above lose them; without fractional ends only the outer pair changes.
    """
    reach, outer, inner = across
    at, j = i * FOUR_SUMS, i * EIGHT
    n = np.float64(reach)
    s0, s1, s2, sq = _four(sums, at)
    new, old = load(ring, lines[0] + j) - datum, load(ring, lines[3] + j) - datum
    if fraction is None:
        t0 = s0 + (new - old)
        t1 = s1 - s0 + (n * new + (n + 1.0) * old)
        t2 = s2 + (s0 - 2.0 * s1) + ((n * n) * new - ((n + 1.0) * (n + 1.0)) * old)
        tq = sq + (new * new - old * old)
    else:
        more, less = load(ring, lines[1] + j) - datum, load(ring, lines[2] + j) - datum
        a, b, c, d = outer * new, inner * more, inner * less, outer * old
        coming, leaving = a + b, c + d
        change = coming - leaving
        t0 = s0 + change
        t1 = s1 - s0 + (n * (coming + leaving) + (d - b))
        t2 = s2 + (s0 - 2.0 * s1) + ((n * n) * change - (2.0 * n) * (b + d) - (d - b))
        tq = sq + ((a * new - d * old) + (b * more - c * less))
    store(sums, at, t0)
    store(sums, at + EIGHT, t1)
    store(sums, at + TWICE, t2)
    store(sums, at + THRICE, tq)
    return t0, t1, t2, tq


@njit(**INNER)
def _slide_along(ring, lines, sums, ends, scales, datum, runs, shown, layers, fraction):
    """Move the column sums down to a row of placements, slide along it in every run at once, solve each placement."""
    (length, left), (reach, outer, inner) = runs, ends[0]
    n, last, apart = np.float64(reach), np.uint64(2 * reach), np.uint64(length)
    m0 = mu = mv = m2 = mq = lanes_of(0.0)
    for i in range(last + ONE):
        t0, t1, t2, tq = _slid(ring, lines, sums, i, ends[1], datum, fraction)
        w = outer if i == 0 or i == last else 1.0
        m0, mu, mv, m2, mq = m0 + w * t0, mu + (w * (np.float64(i) - n)) * t0, mv + w * t1, m2 + w * t2, mq + w * tq
    a0, a1, a2, aq = t0, t1, t2, tq
    o0, o1, o2, oq = _four(sums, np.uint64(0))
    results = np.empty(5 * LANES * LANES, np.float32)
    for i in range(apart):
        if i > 0:
            t0, t1, t2, tq = _slid(ring, lines, sums, i + last, ends[1], datum, fraction)
            b0, b1, b2, bq = _four(sums, i * FOUR_SUMS)
            if fraction is None:
                mu = mu - m0 + (n * t0 + (n + 1.0) * o0)
                m0, mv, m2, mq = m0 + (t0 - o0), mv + (t1 - o1), m2 + (t2 - o2), mq + (tq - oq)
            else:  # t and a come in at the far end, b and o go out at the near end
                mu = mu - m0 + (outer * (n * t0 + (n + 1.0) * o0) + inner * ((n - 1.0) * a0 + n * b0))
                m0 = m0 + (outer * (t0 - o0) + inner * (a0 - b0))
                mv = mv + (outer * (t1 - o1) + inner * (a1 - b1))
                m2 = m2 + (outer * (t2 - o2) + inner * (a2 - b2))
                mq = mq + (outer * (tq - oq) + inner * (aq - bq))
                a0, a1, a2, aq = t0, t1, t2, tq
            o0, o1, o2, oq = b0, b1, b2, bq
        k = i % EIGHT
        _solve((m0, mu, mv, m2, mq), scales, datum, results, k * EIGHT)
        if k == SEVEN:
            for layer in range(5):
                # the row is written when it is solved: fetched by then, or every line of it would be waited for
                for line in range(LINES):
                    expect(layers[layer], np.uint64(left) + (i - k) * EIGHT + np.uint64(line) * LINE_CELLS)
                spread(results, np.uint64(layer) * BLOCK, shown, np.uint64(layer) * EIGHT * apart + i - k, apart)


@njit(**INNER, forceinline=True)
def _four(sums, at):
    """Return the four column sums of one place of every run."""
    return load(sums, at), load(sums, at + EIGHT), load(sums, at + TWICE), load(sums, at + THRICE)


@njit(**INNER, forceinline=True)
def _solve(moments, scales, datum, results, at):
    """Turn the sums under eight placements into the five results."""
    m0, mu, mv, m2, mq = moments
    per_area, per_u, per_v, square_u, square_v, per_crown, mean_v2 = scales
    level = per_area * m0
    square = per_area * mq - level * level - square_u * (mu * mu) - square_v * (mv * mv)
    store(results, at, level + datum)
    store(results, at + BLOCK, per_u * mu)
    store(results, at + np.uint64(2) * BLOCK, per_v * mv)
    store(results, at + np.uint64(3) * BLOCK, single_root(square))
    store(results, at + np.uint64(4) * BLOCK, per_crown * (m2 - mean_v2 * m0))
