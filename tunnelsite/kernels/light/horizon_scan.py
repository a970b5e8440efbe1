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
from tunnelsite.kernels.light.horizon_block import BLOCK, HELD, next_block
from tunnelsite.kernels.light.horizon_near import ASIDE, GROUP, march, march_near, roof
from tunnelsite.kernels.light.horizon_settle import settle
from tunnelsite.kernels.light.horizon_skyline import (
    EIGHTH,
    NOTHING,
    aim,
    between,
    glance,
    push,
    sight,
    steepest,
)
from tunnelsite.kernels.options import BARE, INNER
from tunnelsite.kernels.shared import fast_shared

NEAR_STEPS = 64  # most row steps marched exactly from a cell; at least BLOCK - 1 fewer
CROWDED = 0.5  # part of the near march from which on it costs less to march all
LANES = 4  # tables that are looked up at a time
STRIP = 960  # most scan lines that a thread handles together: a thread holds as many skylines; the results do not depend on it
_TILE = 64
_TURN_ROWS = 1 << 12


@njit(**BARE)
def _far(line0, p, plan, eye, best, skyline, scratch):
    """Set best to the horizon beyond the near march of a strip row whose scan lines start at line0, where the two lines agree.

    Sets scratch, see `glance`: what either line gives, and whether they do not agree; best is 0 there.
    """
    heights, places, tops, guess, watch = skyline
    (t0, k0), (t1, k1), (_, some), (apart, _) = scratch
    lines = np.uint64(tops.size)
    drop, per_step, offset = np.float32(plan.drop), plan.sight[1, 1], plan.offset[p]
    share = np.float32(abs(offset))
    aside = 0 if offset == 0.0 else (-1 if offset > 0.0 else 1)  # 0: the scan line runs through the cells themselves
    glance(watch, (line0, line0 + aside), (p, share), eye, (drop, per_step), best, scratch)
    for eight in range((eye.size + 7) // 8):
        word = some[eight]
        while word:  # what a line watches is not the answer
            i = 8 * eight + ((word & -word) * EIGHTH >> 56)
            word &= word - 1
            if i >= eye.size:
                break
            e, line, other = eye[i], np.uint64(line0 + i), np.uint64(line0 + aside + i)
            v = steepest(line, e, p, heights, places, tops, drop, guess)
            aim(line, v, heights, places, tops, guess, watch)
            a, k0[i] = sight(np.uint64(v) * lines + line, e, p, heights, places, drop)
            b, k1[i] = a, k0[i]
            if aside != 0:
                v = steepest(other, e, p, heights, places, tops, drop, guess)
                b, k1[i] = sight(np.uint64(v) * lines + other, e, p, heights, places, drop)
            t0[i], t1[i] = a * per_step, b * per_step
            best[i], apart[i] = between(t0[i], t1[i], share)


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


@njit(**BARE)
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
    near, strip, leftmost, rows = sizes  # no row is walked beyond the last observers
    for number in range(mine[0], mine[1]):
        line0 = leftmost + number * strip - 1  # with one line more on either side
        heights = np.empty((rows + 1) * (strip + 2), np.float32)
        places = np.empty((rows + 1) * (strip + 2), np.float32)
        heights[: strip + 2], places[: strip + 2] = NOTHING, -1.0
        tops, guess = np.zeros(strip + 2, np.int64), np.zeros(strip + 2, np.int64)
        watch = np.empty((6, strip + 2), np.float32)
        watch[0::2] = NOTHING
        watch[1::2] = -1.0
        crossed, held = np.empty((HELD, strip + 4), np.float32), np.empty(2, np.int64)
        crossed[:], held[0], held[1] = np.nan, -BLOCK, 0
        above, mask = np.empty(strip + 2, np.float32), np.empty(strip + 2, np.int32)
        values, eights = np.empty((6, strip), np.float32), np.zeros((3, (strip + 7) // 8), np.int64)
        rises, missed, apart = eights[0].view(np.bool_), eights[1].view(np.bool_), eights[2].view(np.bool_)
        scratch = ((values[0], values[1]), (values[2], values[3]), (missed, eights[1]), (apart, eights[2]))
        raw, roofs = np.empty(strip + 2 + 2 * ASIDE, np.float32), np.empty((near // GROUP + 2, strip + 2), np.float32)
        skyline = heights, places, tops, guess, watch
        room = (
            values,
            scratch,
            (crossed, held, above, mask),
            (raw, roofs, (rises, eights[0], np.empty((eights.shape[1], 2), np.int64))),
        )
        _walk(surface, observer, window, lift, plan, (near, strip, line0, rows), floor, tally, tangents, skyline, room)


@njit(**BARE)
def _walk(surface, observer, window, lift, plan, sizes, floor, tally, tangents, skyline, room):
    """Walk a strip of lines from the row farthest ahead; sizes = (near, lines, one line before the first, rows)."""
    columns = surface.shape[1]
    look_up, free, flipped, losses = tally
    top, bottom, left, right = window
    near, strip, line0, rows = sizes
    flat, eyes, out = surface.reshape(-1), observer.reshape(-1), tangents.reshape(-1)
    heights, places, tops, guess, watch = skyline
    values, scratch, (crossed, held, above, mask), (raw, roofs, marks) = room
    crowded = 0.0  # part of the near march that could not be passed over in the last row that was looked at
    known = np.int64(0)  # rows farther than this one are in the skylines
    for p in range(rows):
        if p - near > known:
            count = next_block(flat, columns, plan, line0, known, near, crossed, held, above, mask)
            push(crossed, known - held[0], mask, known, heights, places, tops, guess, watch, np.float32(plan.drop))
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
        line = column - (line0 + plan.shift[p])
        if known > 0:
            _far(line, p, plan, eye, best, skyline, scratch)
        else:
            best[:] = 0.0
        sparse = crowded < CROWDED  # then settled horizons spare much of the march; else a march spares much settling
        if known > 0 and sparse:
            settle(flat, columns, plan, p, (cell, column), eye, best, scratch)
        if p % GROUP == 0 or sparse:
            crowded = march_near(flat, columns, plan, (p, cell, column), line, eye, best, p - known, roofs, marks)
        else:
            marks[2][0, 0], marks[2][0, 1] = 0, n
            samples = np.int64(0), plan.near_count[p - known]
            march(
                flat, columns, plan.near_cells, plan.near_factors, (p, cell, column), marks[2][:1], samples, eye, best
            )
        if known > 0 and not sparse:
            settle(flat, columns, plan, p, (cell, column), eye, best, scratch)
        if floor[4].size > 0:
            _raise_to_floor(floor, row - top, column - left, best)
        if look_up.shape[1] > 0:
            for i in range(n):
                best[i] = best[i] if eye[i] == eye[i] else np.float32(np.nan)
            add_losses(best, look_up, free, (row - top, column - left, flipped), losses)
        else:  # an array put into a slice brings the text of its error, which takes seconds to compile
            for i in range(np.uint64(n)):
                out[place + i] = best[i] if eye[i] == eye[i] else np.float32(np.nan)


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
    """The transpose of a 2-D array, in C order; pause() is called now and then, see `horizon_share.add_folded`."""
    out = np.empty(a.shape[::-1], a.dtype)
    for first in range(0, a.shape[0], _TURN_ROWS):
        _turn(-(-a.shape[1] // _TILE), a, first, min(first + _TURN_ROWS, a.shape[0]), out)
        pause()
    return out
