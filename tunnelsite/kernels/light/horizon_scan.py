"""Heart of the horizon engine: an exact near march and convex-hull scan lines, in one pass over the grid.

Scan lines run parallel to the azimuth, one per column, and carry the wireframe of `horizon_rays` along with
them. A strip of neighbouring lines is walked from the row farthest ahead towards the observers. Each line
keeps the skyline of what lies beyond the near march as a stack that falls and is concave from far
to near, so the steepest line of sight from any eye is found at once, whatever its distance. Rows enter the skylines a block
at a time, so that most samples are sorted out for many lines at once; the near march reaches up to the last block. A cell lies
between two lines: where their horizons agree the cell's is interpolated; where they do not, an edge passes
between, and the cell's own ray is sampled at both.
"""

from collections.abc import Callable

import numba
import numpy as np

from tunnelsite.kernels.compiled import njit
from tunnelsite.kernels.light.horizon_near import ASIDE, GROUP, march, march_near, roof
from tunnelsite.kernels.light.horizon_skyline import BESIDE, BLOCK, NOTHING, aim, glance, push, steepest, survivors
from tunnelsite.kernels.options import FAST_INNER, INNER
from tunnelsite.kernels.shared import fast_shared

NEAR_STEPS = 56  # most row steps marched exactly from a cell; at least BLOCK - 1 fewer
AGREE = np.float32(0.002)  # tangents of two neighbouring lines closer than this are interpolated
CROWDED = 0.3  # part of the near march from which on it costs less to march all
LANES = 4  # tables that are looked up at a time
STRIP = 1024  # most scan lines that a thread handles together; the results do not depend on it
_TILE = 64
_TURN_ROWS = 1 << 12


@njit(**FAST_INNER)
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


@njit(**FAST_INNER)
def _cross_block(flat, columns, plan, line0, first, count, crossed):
    """Fill crossed, see `survivors`, with the march rows first, first + 1, ... of a block."""
    rows = flat.size // columns
    crossed[:] = np.nan
    for k in range(max(first - BESIDE, 0), first + count):
        row = k if plan.ahead < 0 else rows - 1 - k
        _cross_row(flat, columns, row, line0 + plan.shift[k], plan.offset[k], crossed[k - first + BESIDE])


@njit(**FAST_INNER)
def _look(line0, p, eye, drop, per_step, skyline, seen, keep):
    """Set seen = (tangent, steps) to each eye's horizon on the scan line that starts the strip row at line0.

    Where the watched vertex is not the answer it is searched for, and watched from then on if `keep`.
    """
    heights, places, tops, guess, watch = skyline
    tangent, steps, (missed, eights) = seen
    n = eye.size
    glance(watch, line0, p, eye, drop, per_step, tangent, steps, missed)
    for eight in range((n + 7) // 8):
        if eights[eight] == 0:
            continue
        for i in range(8 * eight, min(8 * eight + 8, n)):
            if missed[i]:
                line = line0 + i
                v = steepest(line, eye[i], p, heights, places, tops[line], drop)
                d = np.float32(p) - places[v, line]
                tangent[i] = (heights[v, line] - eye[i] - drop * d * d) * per_step / d
                steps[i] = d
                if keep:
                    aim(line, v, heights, places, tops, guess, watch)


@njit(**FAST_INNER)
def _far(line0, p, plan, eye, best, skyline, scratch):
    """Set best to the horizon beyond the near march of a strip row whose scan lines start at line0, where the two lines agree.

    Sets scratch = ((tangents, steps), (tangents, steps), (apart, eights)): what either line gives, and whether they do not agree,
    each by itself and eight at a time; best is 0 there.
    """
    (t0, k0), (t1, k1), marks = scratch
    apart, n = marks[0], eye.size
    drop, per_step = np.float32(plan.drop), plan.sight[1, 1]
    _look(line0, p, eye, drop, per_step, skyline, (t0, k0, marks), np.bool_(True))
    offset = plan.offset[p]
    if offset == 0.0:  # the scan line runs through the cells themselves
        t1, k1 = t0, k0
    else:
        _look(line0 + (-1 if offset > 0.0 else 1), p, eye, drop, per_step, skyline, (t1, k1, marks), np.bool_(False))
    share = np.float32(abs(offset))
    for i in range(n):
        a, b = t0[i], t1[i]
        differ = (abs(b - a) > AGREE) & ((a > np.float32(0.0)) | (b > np.float32(0.0)))
        s = a + share * (b - a)
        apart[i] = differ
        best[i] = s if (s > np.float32(0.0)) & (not differ) else np.float32(0.0)


@njit(**FAST_INNER)
def _settle(flat, columns, plan, p, at, eye, best, scratch):
    """Raise best where `_far` has found the lines apart, by the crossings of the cell's own ray in the row steps in which either line
    has its horizon and in those beside them: at = (cell, column).
    """
    (tangents0, steps0), (tangents1, steps1), (apart, eights) = scratch
    sight, side, width, pitch = plan.sight, plan.side, np.uint64(columns), plan.ahead * columns
    for eight in range((eye.size + 7) // 8):
        if eights[eight] == 0:
            continue
        for i in range(8 * eight, min(8 * eight + 8, eye.size)):
            if not (apart[i] and (tangents0[i] > best[i] or tangents1[i] > best[i])):
                continue
            k0, k1, e, high = np.int64(steps0[i]), np.int64(steps1[i]), eye[i], best[i]
            for j in range(6):
                k = k0 - 1 + j if j < 3 else k1 - 4 + j
                if k < 1 or k > p or (j > 2 and abs(k - k0) < 2):
                    continue
                shift = side * plan.column[np.uint64(k)]
                first, cell = at[1] + i + shift, at[0] + i + shift + pitch * k
                if np.uint64(first) >= width:
                    continue
                row, f = np.uint64(k), sight[np.uint64(k), 0]
                z, before = flat[np.uint64(cell)], flat[np.uint64(cell - pitch)]
                v = (before + sight[row, 3] * (z - before) - e) * sight[row, 4] - sight[row, 5]
                high = v if v > high else high
                second = side if f > np.float32(0.0) else 0
                if np.uint64(first + second) < width:
                    v = (z + f * (flat[np.uint64(cell + second)] - z) - e) * sight[row, 1] - sight[row, 2]
                    high = v if v > high else high
            best[i] = high


@njit(**INNER, fastmath=False)  # said aloud, or the caller's licence would be inherited
def add_losses(tangents, look_up, free, place, losses):
    """Add to losses uint16 what look_up uint16 [nodes, tables] says that a run of horizons takes away.

    place = (row, column, flipped): the run starts there; losses is [rows, columns, tables], or [columns, rows, tables] if flipped, a
    multiple of LANES tables. Nodes are evenly spaced in the sine of the horizon; tangents up to `free` take nothing. Flat arrays,
    unsigned indices and a constant number of tables a sweep, or it is not vectorised.
    """
    row, column, flipped = np.int64(place[0]), np.int64(place[1]), place[2]
    last, tables = np.float32(look_up.shape[0] - 1), np.uint64(look_up.shape[1])
    taken, sums, pitch = look_up.reshape(-1), losses.reshape(-1), losses.shape[1]
    for i in range(tangents.size):
        h = tangents[i]
        if not h > free:
            continue
        node = np.uint64(last * h / np.sqrt(np.float32(1.0) + h * h) + np.float32(0.5))
        cell = (column + i) * pitch + row if flipped else row * pitch + column + i
        at, to = node * tables, np.uint64(cell) * tables
        for group in range(np.uint64(0), tables, np.uint64(LANES)):
            for k in range(np.uint64(LANES)):
                sums[to + group + k] += taken[at + group + k]


@njit(**FAST_INNER)
def _raise_to_floor(floor, row, column, best):
    """Raise the horizons of a run of cells that starts at (row, column) to their `outlines.Floor`."""
    starts, first, end, offset, values = floor
    for run in range(starts[row], starts[row + 1]):
        low, high = max(first[run], column), min(end[run], column + best.size)
        at = offset[run] - first[run]
        for c in range(low, high):
            best[c - column] = max(best[c - column], values[at + c])


def scan(surface, observer, window, lift, plan, near, floor, tally, tangents):
    """Put into tangents the tangent, at least 0, of the horizon ahead of every cell, or tally what tables say of it.

    Arguments: surface [rows, columns] float32, C order, transposed if the March says so; observer float32 [bottom - top, right - left],
    of the cells of window = (top, bottom, left, right) alone, of which all that follows is; lift, float32, height of the eyes above
    the observers; plan, a `horizon_rays.RayPlan` from `scan_plan` with the same near;
    floor, tangents that some cells have at least, see `outlines.Floor`;
    tally = (look_up uint16 [nodes, tables], free, flipped, losses uint16), see `add_losses`: what horizons take away is added, so
    that no tangent is ever stored; without tables tangents [rows, columns] is overwritten, NaN where the eye is NaN.
    """
    top, bottom, left, right = window
    rows, threads = len(surface), numba.get_num_threads()
    first, last = (
        (top, bottom) if plan.ahead < 0 else (rows - bottom, rows - top)
    )  # of the march's rows, those with observers
    shift = plan.shift[first:last]
    leftmost, lines = left - int(shift.max()), right - left + int(shift.max() - shift.min())
    # of one width, and as many for each thread, so that all share alike
    strips = threads * -(-lines // (threads * STRIP))
    sizes = (near, -(-lines // strips), leftmost, last)
    _scan_strips(strips, surface, observer, window, lift, plan, sizes, floor, tally, tangents)


@fast_shared
def _scan_strips(mine, surface, observer, window, lift, plan, sizes, floor, tally, tangents):
    columns = surface.shape[1]
    look_up, free, flipped, losses = tally
    top, bottom, left, right = window
    flat, eyes, out = surface.reshape(-1), observer.reshape(-1), tangents.reshape(-1)
    near, strip, leftmost, rows = sizes  # no row is walked beyond the last observers
    block = max(1, min(BLOCK, near))
    for number in range(mine[0], mine[1]):
        line0 = leftmost + number * strip - 1  # with one line more on either side
        heights = np.empty((rows, strip + 2), np.float32)
        places = np.empty((rows, strip + 2), np.float32)
        tops, guess = np.empty(strip + 2, np.int64), np.empty(strip + 2, np.int64)
        tops[:], guess[:] = -1, 0
        watch = np.empty((6, strip + 2), np.float32)
        watch[0::2] = NOTHING
        watch[1::2] = -1.0
        crossed = np.empty((BLOCK + 2 * BESIDE, strip + 2), np.float32)
        above, mask = np.empty(strip + 2, np.float32), np.empty(strip + 2, np.int32)
        values, eights = np.empty((6, strip), np.float32), np.empty((2, (strip + 7) // 8), np.int64)
        rises = (eights[1].view(np.bool_), eights[1])
        scratch = ((values[0], values[1]), (values[2], values[3]), (eights[0].view(np.bool_), eights[0]))
        raw, roofs = np.empty(strip + 2 + 2 * ASIDE, np.float32), np.empty((near // GROUP + 2, strip + 2), np.float32)
        crowded = 0.0  # part of the near march that could not be passed over in the last row that was looked at
        known = np.int64(0)  # rows farther than this one are in the skylines
        for p in range(rows):
            if p - near > known:
                count = block - (known + plan.anchor) % block
                _cross_block(flat, columns, plan, line0, known, count, crossed)
                survivors(crossed, np.float32(plan.drop), above, mask)
                push(crossed, mask, known, heights, places, tops, guess, watch, np.float32(plan.drop))
                known += count
            if p % GROUP == 0:
                roof(flat, columns, plan, line0, p, raw, roofs[p // GROUP % len(roofs)])
            column = max(left, line0 + 1 + plan.shift[p])
            n = min(right, line0 + 1 + plan.shift[p] + strip) - column
            row = p if plan.ahead < 0 else len(surface) - 1 - p
            if n <= 0 or row < top or row >= bottom:
                continue
            cell = row * columns + column
            eye, best = values[4, :n], values[5, :n]
            place = np.uint64((row - top) * (right - left) + column - left)
            for i in range(np.uint64(n)):
                eye[i] = eyes[place + i] + lift
            best[:] = 0.0
            line = column - (line0 + plan.shift[p])
            if known > 0:
                _far(line, p, plan, eye, best, (heights, places, tops, guess, watch), scratch)
            if p % GROUP == 0 or crowded < CROWDED:
                crowded = march_near(flat, columns, plan, (p, cell, column), line, eye, best, p - known, roofs, rises)
            else:
                march(flat, columns, plan, (p, cell, column), (0, n), (0, plan.near_count[p - known]), eye, best)
            if known > 0:
                _settle(flat, columns, plan, p, (cell, column), eye, best, scratch)
            if floor[4].size > 0:
                _raise_to_floor(floor, row - top, column - left, best)
            for i in range(n):
                best[i] = best[i] if eye[i] == eye[i] else np.float32(np.nan)
            if look_up.shape[1] > 0:
                add_losses(best, look_up, free, (row - top, column - left, flipped), losses)
            else:  # an array put into a slice brings the text of its error, which takes seconds to compile
                for i in range(np.uint64(n)):
                    out[place + i] = best[i]


@fast_shared
def _turn(mine, a, first, last, out):
    """Write rows first to last of a, transposed, into out, both 2-D in C order: eight rows of a tile side by side."""
    rows, columns = a.shape
    source, target = a.reshape(-1), out.reshape(-1)
    one, across = np.uint64(columns), np.uint64(rows)
    whole = first + (last - first) // 8 * 8
    for tile in range(mine[0], mine[1]):
        left = tile * _TILE
        end = min(left + _TILE, columns)
        for top in range(first, whole, 8):
            start, place = np.uint64(top * columns + left), np.uint64(left * rows + top)
            for c in range(np.uint64(end - left)):
                at, to = start + c, place + c * across
                for k in range(8):
                    target[to + np.uint64(k)] = source[at + np.uint64(k) * one]
        for c in range(left, end):
            for r in range(whole, last):
                out[c, r] = a[r, c]


def turned(a: np.ndarray, pause: Callable[[], None] = lambda: None) -> np.ndarray:
    """The transpose of a 2-D array, in C order; pause() is called now and then, see `horizon_share.folded_losses`."""
    out = np.empty(a.shape[::-1], a.dtype)
    for first in range(0, a.shape[0], _TURN_ROWS):
        _turn(-(-a.shape[1] // _TILE), a, first, min(first + _TURN_ROWS, a.shape[0]), out)
        pause()
    return out
