"""Where water goes: single flow directions (D8) over filled ground.

Arrays are [row, col], row 0 = north, col 0 = west. Directions are the widespread powers of two: E 1, SE 2,
S 4, SW 8, W 16, NW 32, N 64, NE 128; 0 = no way down inside the raster (an outlet, or a pit of unfilled
ground); 255 = no data.

Sources: O'Callaghan & Mark (1984) The extraction of drainage networks from digital elevation data, Computer
Vision, Graphics and Image Processing 28:323-344; Jenson & Domingue (1988) Photogrammetric Engineering and
Remote Sensing 54(11):1593-1600 (the codes) [@ocallaghan-mark-1984] [@jenson-domingue-1988].
"""

import math

import numpy as np

from tunnelsite.kernels.compiled import njit
from tunnelsite.kernels.options import INNER
from tunnelsite.kernels.shared import shared, shared_singly
from tunnelsite.kernels.water.fill import with_rim, without_rim

OUTLET, NO_DATA = np.uint8(0), np.uint8(255)
# While directions are being found: level ground whose way out is not known yet; from _WAY on, that it is the neighbour numbered so.
_WAY, _OPEN_FLAT = np.uint8(240), np.uint8(248)
_BLOCK = 128  # rows looked at side by side
# Level ground is gone over in this many shares (a power of two), each of certain heights: what is level and touches is in one.
_SHARES = 16

# Neighbours in the order that settles ties, cardinal before diagonal: E S W N SE SW NW NE.
ROW_STEP = np.array([0, 1, 0, -1, 1, 1, -1, -1])
COL_STEP = np.array([1, 0, -1, 0, 1, -1, -1, 1])
CODE = np.array([1, 4, 16, 64, 2, 8, 32, 128], np.uint8)
BACK = np.array([16, 64, 1, 4, 32, 128, 2, 8], np.uint8)


@shared
def _steepest(mine, z, per_east, per_north, per_diagonal, direction):
    # z has a rim of NaN, direction a rim of NO_DATA. Comparisons with NaN are false: no data is never lower.
    cols = z.shape[1]
    for row in range(1 + mine[0], 1 + mine[1]):
        a, b, c = z[row - 1], z[row], z[row + 1]
        nw, n, ne, w, o, e = a[:-2], a[1:-1], a[2:], b[:-2], b[1:-1], b[2:]
        sw, s, se = c[:-2], c[1:-1], c[2:]
        out = direction[row, 1:-1]
        for k in range(cols - 2):
            here = np.float64(o[k])
            best, code = 0.0, np.int64(0)
            drop = (here - e[k]) * per_east
            code, best = (1, drop) if drop > best else (code, best)
            drop = (here - s[k]) * per_north
            code, best = (4, drop) if drop > best else (code, best)
            drop = (here - w[k]) * per_east
            code, best = (16, drop) if drop > best else (code, best)
            drop = (here - n[k]) * per_north
            code, best = (64, drop) if drop > best else (code, best)
            drop = (here - se[k]) * per_diagonal
            code, best = (2, drop) if drop > best else (code, best)
            drop = (here - sw[k]) * per_diagonal
            code, best = (8, drop) if drop > best else (code, best)
            drop = (here - nw[k]) * per_diagonal
            code, best = (32, drop) if drop > best else (code, best)
            drop = (here - ne[k]) * per_diagonal
            code, best = (128, drop) if drop > best else (code, best)
            out[k] = 255 if np.isnan(here) else code
        for k in range(cols - 2):
            if out[k] == 0:
                lowest = min(min(min(nw[k], n[k]), min(ne[k], w[k])), min(min(e[k], sw[k]), min(s[k], se[k])))
                gap = nw[k] + n[k] + ne[k] + w[k] + e[k] + sw[k] + s[k] + se[k]
                if lowest == o[k] and not np.isnan(gap):
                    out[k] = _OPEN_FLAT


@njit(**INNER, forceinline=True)
def _share_of(height):
    # Alike for equal heights, 0.0 and -0.0 among them, and else at random: whole metres too fall into all shares.
    return np.int64(np.float64(height) * 7919.77) & (_SHARES - 1)


@shared_singly
def _count_level(block, z, direction, cells, counts):
    """Count the level ground of a block by its share of heights."""
    for cell in range(np.uint64(cells[block]), np.uint64(cells[block + 1])):
        if direction[cell] == _OPEN_FLAT:
            counts[_share_of(z[cell]), block] += 1


@shared_singly
def _ways_out(block, z, direction, cells, step, queue, place):
    """Queue the level ground of a block that borders a cell of its height that drains, from its place on, which is moved to the end."""
    for cell in range(np.uint64(cells[block]), np.uint64(cells[block + 1])):
        if direction[cell] == _OPEN_FLAT:
            for k in range(8):
                beside = cell + step[k]
                if direction[beside] < _WAY and z[beside] == z[cell]:
                    direction[cell] = _WAY + k
                    share = _share_of(z[cell])
                    queue[place[share, block]] = cell
                    place[share, block] += 1
                    break


@shared_singly
def _rings(share, z, direction, step, queue, starts, stops):
    """Go over a share of the level ground from its queued cells on; return how many cells that reached.

    One ring of equal steps after the other. Its directions are set only when all are known: a cell drains to the ring before,
    never along its own, to its first neighbour there. Ground of other heights is never written, so shares go side by side.
    """
    first = count = starts[share, 0]
    for block in range(starts.shape[1]):  # moved together
        for place in range(starts[share, block], stops[share, block]):
            queue[count] = queue[place]
            count += 1
    while first < count:
        last = count
        for place in range(first, last):
            cell = np.uint64(queue[place])
            direction[cell] = CODE[direction[cell] - _WAY]
        for place in range(first, last):
            cell = np.uint64(queue[place])
            height = z[cell]
            for k in range(8):
                beside = cell + step[k]
                code = direction[beside]
                if np.uint8(code - _WAY) <= _OPEN_FLAT - _WAY and z[beside] == height:
                    direction[beside] = min(code, np.uint8(_WAY + (k ^ 2)))  # the opposite way, to here
                    queue[count] = beside
                    count += code == _OPEN_FLAT
        first = last
    return count - starts[share, 0]


def _drain_flats(z, direction):
    # Level ground drains by the fewest steps to a cell of the same height that drains.
    rows, width = z.shape
    step = (ROW_STEP * width + COL_STEP).astype(np.uint64)  # unsigned: no place has to be tested for being negative
    z, direction = z.ravel(), direction.ravel()
    cells = np.append(np.arange(1, rows - 1, _BLOCK), rows - 1) * width
    opened = np.zeros((_SHARES, len(cells) - 1), np.int64)
    _count_level(len(cells) - 1, z, direction, cells, opened)
    room = opened.copy()
    room[:, -1] += 1  # a share may write one place past its last cell
    starts = (room.cumsum() - room.ravel()).reshape(room.shape)
    queue, stops = np.empty(room.sum(), np.int32), starts.copy()
    _ways_out(len(cells) - 1, z, direction, cells, step, queue, stops)
    reached = sum(_rings(_SHARES, z, direction, step, queue, starts, stops))
    if reached < opened.sum():  # the rest: the bottom of a pit in ground that was not filled
        direction[direction == _OPEN_FLAT] = OUTLET


def flow_direction(filled_ground, cell_m, cell_north_m=None):
    """Return the one neighbour each cell drains to (D8).

    Arguments:
        filled_ground: (rows, cols) heights from `filled` [m], NaN = no data.
        cell_m: cell spacing [m]; west to east where cell_north_m is given.
        cell_north_m: north to south spacing [m] where it differs.
    Returns: (rows, cols) uint8 codes (see the module). Every cell of filled ground drains to an outlet,
        without loops.
    Raises: ValueError as `filled`, or a spacing that is not a positive number.
    Source: O'Callaghan & Mark (1984): the steepest drop over distance. Ties go to the first of E, S, W, N,
        SE, SW, NW, NE. Level ground has no direction of its own: it drains by the fewest steps to a cell of
        equal height that has a way on, to the first neighbour in that order that is one step nearer: defined by
        heights and steps alone, so that a raster may be cut anywhere (`tiled_flow`), but arbitrary. Cells on the
        raster edge or beside no data drain inwards where ground inside is lower, else they are outlets (0).
    """
    east, north = spacing(cell_m, cell_north_m)
    z = with_rim(filled_ground)
    direction = np.full(z.shape, NO_DATA)
    _steepest(len(z) - 2, z, 1.0 / east, 1.0 / north, 1.0 / math.hypot(east, north), direction)
    _drain_flats(z, direction)
    return without_rim(direction)


def spacing(cell_m, cell_north_m=None):
    """Return the east and north cell spacing [m] as floats, the second equal to the first if None;
    refuse nonsense.
    """
    north = cell_m if cell_north_m is None else cell_north_m
    for name, metres in (("cell_m", cell_m), ("cell_north_m", north)):
        if not (math.isfinite(metres) and metres > 0):
            raise ValueError(f"{name} is {metres}; expected a positive spacing in metres")
    return float(cell_m), float(north)
