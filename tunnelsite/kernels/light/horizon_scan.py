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
from numba import njit

from tunnelsite.kernels.light.horizon_near import march_near
from tunnelsite.kernels.light.horizon_skyline import BESIDE, BLOCK, NOTHING, aim, glance, push, steepest, survivors
from tunnelsite.kernels.options import FAST_INNER, INNER
from tunnelsite.kernels.shared import fast_shared

NEAR_STEPS = 56  # most row steps marched exactly from a cell; at least BLOCK - 1 fewer
AGREE = np.float32(0.002)  # tangents of two neighbouring lines closer than this are interpolated
LANES = 4  # tables that are looked up at a time
STRIP = 1024  # most scan lines that a thread handles together; the results do not depend on it
_TILE = 64
_TURN_ROWS = 1 << 12


@njit(**FAST_INNER)
def _sample(flat, columns, way, cell, column, eye, best, pair):
    """Horizon of a cell, raised by its own ray's crossings in row steps k0 and k1 and those beside them.

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
    tangent, steps, missed = seen
    n = eye.size
    glance(watch, line0, p, eye, drop, per_step, tangent, steps, missed)
    for i in range(n):
        if missed[i] > np.float32(0.0):
            line = line0 + i
            v = steepest(line, eye[i], p, heights, places, tops[line], drop)
            d = np.float32(p) - places[v, line]
            tangent[i] = (heights[v, line] - eye[i] - drop * d * d) * per_step / d
            steps[i] = d
            if keep:
                aim(line, v, heights, places, tops, guess, watch)


@njit(**FAST_INNER)
def _far(flat, columns, plan, p, at, eye, best, skyline, scratch):
    """Raise best to the horizon beyond the near march for a strip row at = (cell, column, first line)."""
    cell, column, line0 = at
    n = eye.size
    tangents, steps, missed = scratch
    drop, per_step = np.float32(plan.drop), plan.sight[1, 1]
    t0, k0 = tangents[0, :n], steps[0, :n]
    _look(line0, p, eye, drop, per_step, skyline, (t0, k0, missed), np.bool_(True))
    offset = plan.offset[p]
    if offset == 0.0:  # the scan line runs through the cells themselves
        for i in range(n):
            best[i] = t0[i] if t0[i] > best[i] else best[i]
        return
    t1, k1 = tangents[1, :n], steps[1, :n]
    _look(line0 + (-1 if offset > 0.0 else 1), p, eye, drop, per_step, skyline, (t1, k1, missed), np.bool_(False))
    share = np.float32(abs(offset))
    for i in range(n):
        a, b, m = t0[i], t1[i], best[i]
        apart = abs(b - a) > AGREE
        s = a + share * (b - a)
        missed[i] = np.float32(1.0) if apart & ((a > m) | (b > m)) else np.float32(0.0)
        best[i] = s if (s > m) & (not apart) else m
    way = (plan.ahead, plan.side, plan.column, plan.sight)
    for i in range(n):
        if missed[i] > np.float32(0.0):
            pair = (np.int64(k0[i]), np.int64(k1[i]), p)
            best[i] = _sample(flat, columns, way, cell + i, column + i, eye[i], best[i], pair)


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
    flat = surface.reshape(-1)
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
        strip_best = np.empty(strip, np.float32)
        strip_eye = np.empty(strip, np.float32)
        pairs = np.empty((2, 2, strip), np.float32)
        scratch = (pairs[0], pairs[1], np.empty(strip, np.float32))
        known = np.int64(0)  # rows farther than this one are in the skylines
        for p in range(rows):
            if p - near > known:
                count = block - (known + plan.anchor) % block
                _cross_block(flat, columns, plan, line0, known, count, crossed)
                drop = np.float32(plan.drop)
                survivors(crossed, drop, above, mask)
                push(crossed, mask, known, heights, places, tops, guess, watch, drop)
                known += count
            column = max(left, line0 + 1 + plan.shift[p])
            n = min(right, line0 + 1 + plan.shift[p] + strip) - column
            row = p if plan.ahead < 0 else len(surface) - 1 - p
            if n <= 0 or row < top or row >= bottom:
                continue
            cell = row * columns + column
            eye = strip_eye[:n]
            for i in range(n):
                eye[i] = observer[row - top, column - left + i] + lift
            best = strip_best[:n]
            best[:] = 0.0
            march_near(flat, columns, plan, cell, column, eye, best, plan.near_count[p - known])
            if known > 0:
                at = (cell, column, column - (line0 + plan.shift[p]))
                _far(flat, columns, plan, p, at, eye, best, (heights, places, tops, guess, watch), scratch)
            if floor[4].size > 0:
                _raise_to_floor(floor, row - top, column - left, best)
            for i in range(n):
                best[i] = best[i] if eye[i] == eye[i] else np.float32(np.nan)
            if look_up.shape[1] > 0:
                add_losses(best, look_up, free, (row - top, column - left, flipped), losses)
            else:
                for i in range(
                    n
                ):  # an array put into a slice brings the text of its error, which takes seconds to compile
                    tangents[row - top, column - left + i] = best[i]


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
