"""Compiled heart of the horizon engine: an exact near march and convex-hull scan lines, in one pass over the grid.

Scan lines run parallel to the azimuth, one per column, and carry the wireframe of `horizon_rays` along with them. A
strip of neighbouring lines is walked from the row farthest ahead towards the observers. Each line keeps the skyline of
what lies more than NEAR_STEPS rows ahead as a stack that falls and is concave from far to near, so the steepest line of
sight from any eye is found at once, whatever its distance. A cell lies between two lines: where their horizons agree
the cell's is interpolated; where they do not, an edge passes between, and the cell's own ray is sampled at both.
"""

import numpy as np
from numba import njit, prange

NEAR_STEPS = 64  # row steps marched exactly from every cell
AGREE = np.float32(0.002)  # tangents of two neighbouring lines closer than this are interpolated
# Fused multiply-add is the only licence given: the vectorised sweep and its remainder use it alike, and NaN keeps its sense.
_FAST = {"cache": True, "error_model": "numpy", "fastmath": {"contract"}}

STRIP = 256  # scan lines a thread handles together; the results do not depend on it


@njit(**_FAST)
def _push(z, p, heights, places, line, top, drop):
    """Add the sample (height z at march row p) to a line's skyline and return the new top of its stack.

    A vertex not higher than a nearer one can never be the horizon of an observer it rises above; one on or below the
    chord of its neighbours never is. On a curved Earth the chord test runs on z - drop p^2: see `earth_drop_per_m`.
    """
    w = z - drop * p * p
    while top >= 0:
        zb = np.float64(heights[top, line])
        if zb > z:
            if top == 0:
                break
            pb = np.float64(places[top, line])
            pa = np.float64(places[top - 1, line])
            wb = zb - drop * pb * pb
            wa = np.float64(heights[top - 1, line]) - drop * pa * pa
            if (wb - wa) * (p - pa) > (w - wa) * (pb - pa):
                break
        top -= 1
    top += 1
    heights[top, line] = z
    places[top, line] = np.int32(p)
    return top


@njit(inline="always", **_FAST)  # a call would pass every array by its parts, dearer than the search
def _tangent(eye, p, heights, places, line, top, drop, guess):
    """Index of the skyline vertex with the steepest line of sight from height eye at march row p.

    Slopes rise and then fall along the stack; the last answer and its neighbours are tried first, then it is halved.
    """
    low = 0
    high = top
    probe = min(guess, top - 1)
    while low < high:
        da = p - np.float64(places[probe, line])
        db = p - np.float64(places[probe + 1, line])
        za = np.float64(heights[probe, line]) - eye - drop * da * da
        zb = np.float64(heights[probe + 1, line]) - eye - drop * db * db
        if zb * da > za * db:
            low = probe + 1
            probe = min(low, high - 1) if probe == guess else (low + high) // 2
        else:
            high = probe
            probe = max(probe - 1, low) if probe == guess else (low + high) // 2
    return low


@njit(**_FAST)
def _sample(flat, columns, way, cell, column, eye, best, pair):
    """Horizon of a cell raised by its own ray's crossings in the row steps k0 and k1 and the steps beside them.

    way = (ahead, side, Samples.column, sight) of the Plan; pair = (k0, k1, greatest step in the data).
    """
    ahead, side, step_column, sight = way
    k0, k1, last = pair
    for j in range(6):
        k = k0 - 1 + j if j < 3 else k1 - 4 + j
        if k < 1 or k > last or (j > 2 and abs(k - k0) < 2):
            continue
        shift = side * step_column[k]
        first = column + shift
        if first < 0 or first >= columns:
            continue
        at = cell + ahead * columns * k + shift
        z = flat[np.uint64(at)]
        f, g = sight[k, 0], sight[k, 3]
        second = side if f > np.float32(0.0) else 0
        if first + second >= 0 and first + second < columns:
            v = (z + f * (flat[np.uint64(at + second)] - z) - eye) * sight[k, 1] - sight[k, 2]
            best = v if v > best else best
        if g >= np.float32(0.0):
            a = flat[np.uint64(at - ahead * columns)]
            v = (a + g * (z - a) - eye) * sight[k, 4] - sight[k, 5]
            best = v if v > best else best
    return best


@njit(**_FAST)
def _march_sides(flat, plan, q, start, span, eye, best):
    """One sample of the near march for the columns low..high of a strip row: start = (cell, column), span = columns."""
    a = start + plan.near_cells[q, 0]
    b = start + plan.near_cells[q, 1]
    f, inverse, drop = plan.near_factors[q, 0], plan.near_factors[q, 1], plan.near_factors[q, 2]
    for i in range(span[0], span[1]):
        z = flat[np.uint64(a + i)]
        v = (z + f * (flat[np.uint64(b + i)] - z) - eye[i]) * inverse - drop
        best[i] = v if v > best[i] else best[i]


@njit(**_FAST)
def _march_near(flat, columns, plan, start, column, eye, best, count):
    """Raise best to the steepest of the first `count` near samples of a strip row that starts at (cell, column).

    Four samples a sweep, so that eye and best stay in registers; unsigned indices, so that the sweep is vectorised.
    """
    n = eye.size
    cells, factors = plan.near_cells, plan.near_factors
    for q in range(0, count, 4):
        q1, q2, q3 = min(q + 1, count - 1), min(q + 2, count - 1), min(q + 3, count - 1)
        low, high = 0, n
        for s in range(q, q3 + 1):
            low = max(low, -(column + cells[s, 2]))
            high = min(high, columns - column - cells[s, 3])
        low = min(low, n)
        high = max(high, low)
        base = start + low
        a0, b0 = np.uint64(base + cells[q, 0]), np.uint64(base + cells[q, 1])
        a1, b1 = np.uint64(base + cells[q1, 0]), np.uint64(base + cells[q1, 1])
        a2, b2 = np.uint64(base + cells[q2, 0]), np.uint64(base + cells[q2, 1])
        a3, b3 = np.uint64(base + cells[q3, 0]), np.uint64(base + cells[q3, 1])
        f0, i0, d0 = factors[q, 0], factors[q, 1], factors[q, 2]
        f1, i1, d1 = factors[q1, 0], factors[q1, 1], factors[q1, 2]
        f2, i2, d2 = factors[q2, 0], factors[q2, 1], factors[q2, 2]
        f3, i3, d3 = factors[q3, 0], factors[q3, 1], factors[q3, 2]
        o = np.uint64(low)
        for i in range(np.uint64(high - low)):
            e = eye[o + i]
            m = best[o + i]
            z = flat[a0 + i]
            v = (z + f0 * (flat[b0 + i] - z) - e) * i0 - d0
            m = v if v > m else m
            z = flat[a1 + i]
            v = (z + f1 * (flat[b1 + i] - z) - e) * i1 - d1
            m = v if v > m else m
            z = flat[a2 + i]
            v = (z + f2 * (flat[b2 + i] - z) - e) * i2 - d2
            m = v if v > m else m
            z = flat[a3 + i]
            v = (z + f3 * (flat[b3 + i] - z) - e) * i3 - d3
            best[o + i] = v if v > m else m
        if low > 0 or high < n:  # beside the grid's sides only some of the four samples lie inside the data
            for s in range(q, q3 + 1):
                first, last = max(0, -(column + cells[s, 2])), min(n, columns - column - cells[s, 3])
                _march_sides(flat, plan, s, start, (first, min(last, low)), eye, best)
                _march_sides(flat, plan, s, start, (max(first, high), last), eye, best)


@njit(**_FAST)
def _cross_row(flat, columns, row, line0, offset, line_z):
    """Set line_z to the heights where neighbouring scan lines, the first at column line0 + offset, cross a row."""
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


@njit(**_FAST)
def _far(flat, columns, plan, p, at, eye, best, skyline):
    """Raise best to the horizon beyond the near march for a strip row at = (cell, column, first line)."""
    heights, places, tops, guess, near = skyline
    cell, column, line0 = at
    way = (plan.ahead, plan.side, plan.column, plan.sight)
    offset = plan.offset[p]
    other = 0 if offset == 0.0 else (-1 if offset > 0.0 else 1)
    share = np.float32(abs(offset))
    rise = np.float32((near + 1) / np.float64(plan.sight[1, 1]))  # [m per tangent] at the nearest far sample
    for i in range(eye.size):
        line = line0 + i
        e, b = eye[i], best[i]
        limit = e + b * rise
        has0, has1 = tops[line] >= 0, tops[line + other] >= 0
        if not ((has0 and heights[0, line] > limit) or (has1 and heights[0, line + other] > limit)):
            continue
        k0, k1 = -9, -9
        s0, s1 = np.float32(-1.0), np.float32(-1.0)
        if has0:
            v = _tangent(np.float64(e), np.float64(p), heights, places, line, tops[line], plan.drop, guess[line])
            guess[line] = v
            k0 = p - places[v, line]
            s0 = (heights[v, line] - e) * plan.sight[k0, 1] - plan.sight[k0, 2]
        if other == 0:
            best[i] = s0 if s0 > b else b
            continue
        if has1:
            line += other
            v = _tangent(np.float64(e), np.float64(p), heights, places, line, tops[line], plan.drop, guess[line])
            k1 = p - places[v, line]
            s1 = (heights[v, line] - e) * plan.sight[k1, 1] - plan.sight[k1, 2]
        if s0 > b or s1 > b:
            if abs(s1 - s0) <= AGREE:
                s = s0 + share * (s1 - s0)
                best[i] = s if s > b else b
            else:
                best[i] = _sample(flat, columns, way, cell + i, column + i, e, b, (k0, k1, p))


@njit(parallel=True, nogil=True, **_FAST)
def scan(surface, observer, plan, near, out):
    """Write into out the tangent, at least 0, of the horizon ahead of every cell; NaN where the observer is NaN.

    Arguments: surface, observer, out [rows, columns] float32, C order, transposed if the March says so; plan, from
    `scan_plan` with the same near.
    """
    rows, columns = surface.shape
    flat = surface.reshape(-1)
    leftmost = -plan.shift.max()
    strips = (columns - plan.shift.min() - leftmost + STRIP - 1) // STRIP
    for number in prange(strips):
        line0 = leftmost + number * STRIP - 1  # with one line more on either side
        heights = np.empty((max(rows - near, 1), STRIP + 2), np.float32)
        places = np.empty((max(rows - near, 1), STRIP + 2), np.int32)
        tops = np.full(STRIP + 2, -1, np.int64)
        guess = np.zeros(STRIP + 2, np.int64)
        line_z = np.empty(STRIP + 2, np.float32)
        strip_best = np.empty(STRIP, np.float32)
        for p in range(rows):
            far_p = p - near - 1
            if far_p >= 0:
                far_row = far_p if plan.ahead < 0 else rows - 1 - far_p
                _cross_row(flat, columns, far_row, line0 + plan.shift[far_p], plan.offset[far_p], line_z)
                for i in range(STRIP + 2):
                    if line_z[i] == line_z[i]:
                        z = np.float64(line_z[i])
                        tops[i] = _push(z, np.float64(far_p), heights, places, i, tops[i], plan.drop)
            column = max(0, line0 + 1 + plan.shift[p])
            n = min(columns, line0 + 1 + plan.shift[p] + STRIP) - column
            if n <= 0:
                continue
            row = p if plan.ahead < 0 else rows - 1 - p
            cell = row * columns + column
            eye = observer[row, column : column + n]
            best = strip_best[:n]
            best[:] = 0.0
            _march_near(flat, columns, plan, cell, column, eye, best, plan.near_count[min(p, near)])
            if far_p >= 0:
                at = (cell, column, column - (line0 + plan.shift[p]))
                _far(flat, columns, plan, p, at, eye, best, (heights, places, tops, guess, near))
            for i in range(n):
                out[row, column + i] = best[i] if eye[i] == eye[i] else np.float32(np.nan)
