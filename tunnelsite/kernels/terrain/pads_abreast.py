"""Pads whose centres are neighbours in a row, graded eight at a time: sums down the columns are shared, then each height is looked at
once.

Only what nearly every pad asks for: cut makes up the fill one to one, and no lone thing stands on it. Other pads are done by themselves
(`kernels.terrain.judged_pad`).
"""

import numpy as np

from tunnelsite.kernels.compiled import njit
from tunnelsite.kernels.options import INNER, PLAIN
from tunnelsite.kernels.terrain.lanes import LANES, known, lanes_of, larger, load, smaller, store

EIGHT, ONE = np.uint64(LANES), np.uint64(1)
# What `grade_abreast` leaves of each pad, rows of its `shown`; RIPPLE is given.
CUT, MAX_CUT, MAX_FILL, LEVEL, EAST, SOUTH, KEPT, SQUARE, RIPPLE = range(9)
SHOWN = 9
_KEPT, _LOST_EAST, _LOST_SOUTH = 0, 1, 2  # rows of what `_design` leaves


@njit(**INNER)
def grade_abreast(felt, start, count, datum, weights, pad, steepest, sums, shown):
    """Fill `shown` [SHOWN, at least `count`] for `count` pads, a multiple of eight, side by side, the first centre at flat index `start`.

    felt: ground [rows, cols], C-contiguous, so wide that all these pads lie within; datum: taken off its heights [m]. weights, pad: see
    `kernels.terrain.grading`. steepest: design slope [m a height]. sums: scratch, [3, count and a pad's length]. CUT [cells x m]; slopes
    SOUTH [m a height]; LEVEL less the datum; SQUARE off the natural plane [m2]. NaN where the pad is not known.
    """
    _column_sums(felt, start, count, datum, weights, pad, sums)
    tilts = np.empty((3, LANES))
    for first in range(np.uint64(0), np.uint64(count), EIGHT):
        _planes(sums, first, weights, pad, shown)
        _design(shown, first, steepest, tilts)
        _depths(felt, np.uint64(start) + first, datum, weights, pad, tilts, shown, first)


@njit(**INNER)
def _column_sums(felt, start, count, datum, weights, pad, sums):
    """Weighted sums of z, v z and z^2 down the columns of every pad."""
    (reach_u, reach_v), _, _, _, step = pad
    stride, wide = np.uint64(felt.shape[1]), np.uint64(sums.shape[1])
    corner = np.uint64(start - reach_v * step * felt.shape[1] - reach_u * step)
    down = np.uint64(step) * stride
    for at in range(np.uint64(0), np.uint64(count + 2 * reach_u * step), EIGHT):
        s0 = sv = sq = lanes_of(0.0)
        place = corner + at
        for i in range(2 * reach_v + 1):
            z = load(felt, place) - datum
            wz = weights[1, i] * z
            s0, sv, sq = s0 + wz, sv + np.float64(i - reach_v) * wz, sq + wz * z
            place += down
        store(sums, at, s0)
        store(sums, wide + at, sv)
        store(sums, wide + wide + at, sq)


@njit(**INNER)
def _planes(sums, first, weights, pad, shown):
    """Level, slopes and mean square of the least-squares planes of eight pads."""
    (reach_u, _), _, (area, per_u, per_v), _, step = pad
    wide, row = np.uint64(sums.shape[1]), np.uint64(shown.shape[1])
    s0 = su = sv = sq = lanes_of(0.0)
    at = first
    for j in range(2 * reach_u + 1):
        weight = weights[0, j]
        c0 = weight * load(sums, at)
        s0, su = s0 + c0, su + np.float64(j - reach_u) * c0
        sv, sq = sv + weight * load(sums, wide + at), sq + weight * load(sums, wide + wide + at)
        at += np.uint64(step)
    level, east, south = s0 * (1.0 / area), su * per_u, sv * per_v
    square = (sq - s0 * level - su * east - sv * south) * (1.0 / area)
    store(shown, np.uint64(LEVEL) * row + first, level)
    store(shown, np.uint64(EAST) * row + first, east)
    store(shown, np.uint64(SOUTH) * row + first, south)
    store(shown, np.uint64(SQUARE) * row + first, square)


@njit(**INNER)
def _design(shown, first, steepest, tilts):
    """What is kept of the heights off their plane, and how much of the natural slopes the design planes take away."""
    for lane in range(LANES):
        k = np.int64(first) + lane
        square, east, south = max(shown[SQUARE, k], 0.0), shown[EAST, k], shown[SOUTH, k]
        tilts[_KEPT, lane] = shown[KEPT, k] = kept_share(square, shown[RIPPLE, k])
        tilts[_LOST_EAST, lane] = east - min(max(east, -steepest), steepest)
        tilts[_LOST_SOUTH, lane] = south - min(max(south, -steepest), steepest)


@njit(**PLAIN)
def kept_share(square, ripple):
    """Return the factor that leaves of a mean square [m2] what errors of a root mean square `ripple` [m] do not explain."""
    spare = square - ripple * ripple
    return np.sqrt(spare / square) if spare > 0.0 else (0.0 if ripple > 0.0 else 1.0)


@njit(**INNER)
def _depths(felt, start, datum, weights, pad, tilts, shown, first):
    """Cut, deepest cut and fill of eight pads."""
    row = np.uint64(shown.shape[1])
    level = load(shown, np.uint64(LEVEL) * row + first) + datum
    planes = (level, load(shown, np.uint64(EAST) * row + first), load(shown, np.uint64(SOUTH) * row + first))
    design = (load(tilts, np.uint64(0)), load(tilts, EIGHT), load(tilts, EIGHT + EIGHT))
    cut, top, bottom = _inner(felt, start, weights, pad, planes, design)
    cut = _outer(felt, start, weights, pad, planes, design, cut)
    top, bottom = _sides(felt, start, pad, planes, design, (top, bottom))
    top, bottom = _corners(felt, start, pad, planes, design, (top, bottom))
    none = lanes_of(0.0)
    store(shown, np.uint64(CUT) * row + first, cut)
    store(shown, np.uint64(MAX_CUT) * row + first, larger(top, none))
    store(shown, np.uint64(MAX_FILL) * row + first, larger(none - bottom, none))


@njit(**INNER, forceinline=True)
def _at(start, felt, step, i, j):
    """Flat index of the height `i` rows down and `j` columns to the right of the first centre."""
    return np.uint64(np.int64(start) + (i * felt.shape[1] + j) * step)


@njit(**INNER)
def _inner(felt, start, weights, pad, planes, design):
    """The heights whose middles lie on the pad: cut, highest and lowest depth."""
    (reach_u, reach_v), (low_u, low_v), _, _, step = pad
    (level, east, south), (kept, lost_east, lost_south) = planes, design
    none = lanes_of(0.0)
    cut = top = bottom = none
    for i in range(-low_v, low_v + 1):
        place, line = _at(start, felt, step, i, -low_u), none
        ground, tilt = level + np.float64(i) * south, np.float64(i) * lost_south
        for j in range(-low_u, low_u + 1):
            u = np.float64(j)
            e = load(felt, place) - ground - u * east
            d = kept * e + (tilt + u * lost_east)
            line = line + weights[0, reach_u + j] * larger(d, none)
            top, bottom = larger(d, top), smaller(d, bottom)
            place += np.uint64(step)
        cut = cut + weights[1, reach_v + i] * line
    return cut, top, bottom


@njit(**INNER)
def _outer(felt, start, weights, pad, planes, design, cut):
    """End cells whose middles lie beyond the pad: they count by the part that lies on it, not for depth."""
    (reach_u, reach_v), (low_u, low_v), _, _, step = pad
    (level, east, south), (kept, lost_east, lost_south) = planes, design
    none = lanes_of(0.0)
    for i in range(-reach_v, reach_v + 1):
        ground, tilt = level + np.float64(i) * south, np.float64(i) * lost_south
        whole = abs(i) > low_v
        for j in range(-reach_u, reach_u + 1, 1 if whole or reach_u == 0 else 2 * reach_u):
            if not whole and abs(j) <= low_u:
                break
            u = np.float64(j)
            e = load(felt, _at(start, felt, step, i, j)) - ground - u * east
            d = kept * e + (tilt + u * lost_east)
            cut = cut + (weights[1, reach_v + i] * weights[0, reach_u + j]) * larger(d, none)
    return cut


@njit(**INNER, forceinline=True)
def _edge(height, at, planes, design, top, bottom):
    """Highest and lowest depth with those of one more point (u, v)."""
    (level, east, south), (kept, lost_east, lost_south), (u, v) = planes, design, at
    d = kept * (height - (level + u * east + v * south)) + (u * lost_east + v * lost_south)
    return larger(d, top), smaller(d, bottom)


@njit(**INNER)
def _sides(felt, start, pad, planes, design, deepest):
    """Where lines of heights meet the edges, a part of the way to the next height beyond."""
    _, (low_u, low_v), _, (half_u, half_v), step = pad
    part_u, part_v = half_u - low_u, half_v - low_v
    top, bottom = deepest
    for side in (-1, 1):
        for j in range(-low_u, low_u + 1 if part_v > 0.0 else -low_u):
            near, u = load(felt, _at(start, felt, step, side * low_v, j)), np.float64(j)
            beyond = known(load(felt, _at(start, felt, step, side * (low_v + 1), j)), near)
            top, bottom = _edge(near + part_v * (beyond - near), (u, side * half_v), planes, design, top, bottom)
        for i in range(-low_v, low_v + 1 if part_u > 0.0 else -low_v):
            near, v = load(felt, _at(start, felt, step, i, side * low_u)), np.float64(i)
            beyond = known(load(felt, _at(start, felt, step, i, side * (low_u + 1))), near)
            top, bottom = _edge(near + part_u * (beyond - near), (side * half_u, v), planes, design, top, bottom)
    return top, bottom


@njit(**INNER)
def _corners(felt, start, pad, planes, design, deepest):
    """The corners, where the pad ends between heights both ways."""
    _, (low_u, low_v), _, (half_u, half_v), step = pad
    part_u, part_v = half_u - low_u, half_v - low_v
    top, bottom = deepest
    if part_u > 0.0 and part_v > 0.0:
        for down in (-1, 1):
            for right in (-1, 1):
                i, j = down * low_v, right * low_u
                here = load(felt, _at(start, felt, step, i, j))
                beside = known(load(felt, _at(start, felt, step, i, j + right)), here)
                below = known(load(felt, _at(start, felt, step, i + down, j)), here)
                outside = known(load(felt, _at(start, felt, step, i + down, j + right)), below)
                inner, lower = here + part_u * (beside - here), below + part_u * (outside - below)
                at = (right * half_u, down * half_v)
                top, bottom = _edge(inner + part_v * (lower - inner), at, planes, design, top, bottom)
    return top, bottom
