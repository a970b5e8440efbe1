"""Flow that may part between two neighbours: D-infinity angles and contributing area.

Arrays are [row, col], row 0 = north, col 0 = west, square cells. Angles are degrees clockwise from north;
-1 = no way down inside the raster (outlet), NaN = no data.

Source: Tarboton (1997) A new method for the determination of flow directions and upslope areas in grid
digital elevation models, Water Resources Research 33(2):309-319, equations 1-6 [@tarboton-1997].
"""

import math

import numpy as np

from tunnelsite.kernels.compiled import njit
from tunnelsite.kernels.options import INNER, PLAIN
from tunnelsite.kernels.shared import shared
from tunnelsite.kernels.water.fill import with_rim
from tunnelsite.kernels.water.flow import spacing

OUTLET = -1.0
_BLOCK = 128  # rows that one thread follows
_WAITING, _DONE = np.uint8(254), np.uint8(255)

# atan(t) in degrees for |t| <= tan 22.5 degrees is t * polynomial(t * t): near-minimax fit, within 1e-11
# degree.
_ATAN = (57.295779512748595, -19.098593076006185, 11.45914800059469, -8.18481527353876,
         6.360275365637007, -5.140667059440873, 3.9506422514849993, -2.0872760461152438)  # fmt: skip
_TAN_22_5 = math.sqrt(2.0) - 1.0
_HALF_ROOT = math.sqrt(0.5)

# Helpers are inlined by LLVM and not by numba (inline="always"), which takes ten times as long to compile.

# Neighbours clockwise from north: N NE E SE S SW W NW.
_ROW = np.array([-1, -1, 0, 1, 1, 1, 0, -1])
_COL = np.array([0, 1, 1, 1, 0, -1, -1, -1])


@njit(**INNER)
def _steeper(best, here, cardinal, diagonal, azimuth, turn):
    """The steeper of the best facet so far and this one: drop per cell width, along, across, azimuth, turn.

    The angle from the cardinal towards the diagonal neighbour is atan2(across, along), held within 0-45
    degrees (Tarboton equations 1-5). Branch-free so that it runs in vector registers; with NaN every
    comparison fails and the facet is left.
    """
    along, across = here - cardinal, cardinal - diagonal
    before, beyond = across < 0.0, across > along
    inside = math.sqrt(along * along + across * across)
    drop = along if before else ((along + across) * _HALF_ROOT if beyond else inside)
    along = across if beyond and not before else along
    across = 0.0 if before else across
    better = drop > best[0]
    return (
        drop if better else best[0],
        along if better else best[1],
        across if better else best[2],
        azimuth if better else best[3],
        turn if better else best[4],
    )


@njit(**INNER)
def _facet_azimuth(along, across, azimuth, turn):
    # azimuth +- atan2(across, along) in degrees, for 0 <= across <= along: reduced to +-22.5 degrees, odd
    # polynomial there.
    far = across > along * _TAN_22_5
    t = (across - along if far else across) / (across + along if far else along)
    u = t * t
    p = (((_ATAN[7] * u + _ATAN[6]) * u + _ATAN[5]) * u + _ATAN[4]) * u + _ATAN[3]
    p = ((p * u + _ATAN[2]) * u + _ATAN[1]) * u + _ATAN[0]
    found = azimuth + turn * ((45.0 if far else 0.0) + t * p)
    return found + 360.0 if found < 0.0 else found


@shared
def _angles(mine, z, direction, angle):
    # z has a rim of NaN; direction (D8) decides where no whole facet falls: flats, and cells at the rim.
    cols = z.shape[1]
    for row in range(1 + mine[0], 1 + mine[1]):
        a, b, c = z[row - 1], z[row], z[row + 1]
        nw, n, ne, w, o, e = a[:-2], a[1:-1], a[2:], b[:-2], b[1:-1], b[2:]
        sw, s, se = c[:-2], c[1:-1], c[2:]
        out, code = angle[row - 1], direction[row - 1]
        for k in range(cols - 2):
            here = np.float64(o[k])
            north, east, south, west = np.float64(n[k]), np.float64(e[k]), np.float64(s[k]), np.float64(w[k])
            north_east, south_east = np.float64(ne[k]), np.float64(se[k])
            south_west, north_west = np.float64(sw[k]), np.float64(nw[k])
            best = (0.0, 1.0, 0.0, 0.0, 0.0)
            best = _steeper(best, here, north, north_east, 0.0, 1.0)
            best = _steeper(best, here, east, north_east, 90.0, -1.0)
            best = _steeper(best, here, east, south_east, 90.0, 1.0)
            best = _steeper(best, here, south, south_east, 180.0, -1.0)
            best = _steeper(best, here, south, south_west, 180.0, 1.0)
            best = _steeper(best, here, west, south_west, 270.0, -1.0)
            best = _steeper(best, here, west, north_west, 270.0, 1.0)
            best = _steeper(best, here, north, north_west, 0.0, -1.0)
            found = _facet_azimuth(best[1], best[2], best[3], best[4])
            out[k] = found if best[0] > 0.0 else np.nan
        for k in range(cols - 2):
            if not out[k] < 360.0:  # nothing falls, or a hair west of north was rounded up
                out[k] = 0.0 if out[k] == 360.0 else _azimuth_of_code(code[k])


@njit(**INNER, forceinline=True)
def _azimuth_of_code(code):
    if code == 255:
        return np.nan
    if code == 0:
        return OUTLET
    power = 0
    while code > 1:
        code >>= 1
        power += 1
    return 45.0 * ((power + 2) & 7)  # E = 1 = 90 degrees, clockwise


@njit(**INNER, forceinline=True)
def _share(angle, k):
    # What a receiver k of this cell gets (Tarboton equation 6): the less its direction is off the angle, the
    # more.
    off = abs(np.float64(angle) / 45.0 - k)
    return 1.0 - (8.0 - off if off > 4.0 else off)


@shared
def _receivers(mine, angle, receivers):
    # One bit for each neighbour that gets a share, clockwise from north; none for outlets and no data.
    cols = angle.shape[1]
    bad = 0
    for row in range(mine[0], mine[1]):
        for col in range(cols):
            eighths = np.float64(angle[row, col]) / 45.0
            bits = 0
            if eighths >= 0.0:
                first = int(eighths)
                bad += eighths >= 8.0
                bits = 1 << (first & 7)
                if eighths > first:
                    bits |= 1 << ((first + 1) & 7)
            receivers[row, col] = bits
    return bad


@shared
def _inflows(mine, angle, receivers, inflows, is_open):
    cols = angle.shape[1]
    for row in range(1 + mine[0], 1 + mine[1]):
        for col in range(1, cols - 1):
            if not np.isnan(angle[row, col]):
                count, beside = 0, False
                for k in range(8):
                    other = row + _ROW[k], col + _COL[k]
                    count += (receivers[other] >> ((k + 4) & 7)) & 1
                    beside |= np.isnan(angle[other])
                inflows[row, col], is_open[row, col] = count, beside


@njit(**INNER, forceinline=True)
def _gather(cell, step, angle, receivers, total, is_open):
    # Pulled in a fixed order once all that flows in is known: the sum cannot depend on which thread came
    # first.
    inflow, edge = 0.0, is_open[cell]
    for k in range(8):
        other = cell + step[k]
        if (receivers[other] >> ((k + 4) & 7)) & 1:
            inflow += _share(angle[other], (k + 4) & 7) * total[other]
            edge |= is_open[other]
    total[cell] += inflow
    is_open[cell] = edge


@njit(**INNER, forceinline=True)
def _release(cell, first, last, inside, step, receivers, inflows, stack, count):
    # Tell the receivers of a finished cell, either those in first..last (inside) or those out of it; finished
    # ones are stacked.
    waiting = False
    bits = receivers[cell]
    for k in range(8):
        if (bits >> k) & 1:
            below = cell + step[k]
            if (first <= below < last) != inside:
                waiting = True
            elif inflows[below] != _DONE:  # no data is done from the start
                inflows[below] -= np.uint8(1)
                if inflows[below] == 0:
                    stack[count] = below
                    count += 1
    inflows[cell] = _WAITING if waiting else _DONE
    return count


@shared
def _within_blocks(mine, cols, angle, receivers, inflows, is_open, total):
    """Sum total (in place) down the angles within blocks of rows, all flat arrays with a rim."""
    step, size = _ROW * cols + _COL, angle.size
    for block in range(mine[0], mine[1]):
        first, last = block * _BLOCK * cols, min((block + 1) * _BLOCK * cols, size)
        stack = np.empty(last - first, np.int32)
        for start in range(first, last):
            if inflows[start] == 0:
                stack[0], count = start, 1
                while count:
                    count -= 1
                    cell = stack[count]
                    _gather(cell, step, angle, receivers, total, is_open)
                    count = _release(cell, first, last, True, step, receivers, inflows, stack, count)


@njit(**PLAIN)
def _across_blocks(cols, angle, receivers, inflows, is_open, total):
    """Follow in one go what crosses from block to block, which waits in their first and last rows; return how many cells lie on a loop
    or below one.
    """
    step, size = _ROW * cols + _COL, angle.size
    blocks = (size // cols + _BLOCK - 1) // _BLOCK
    stack = np.empty(size, np.int32)
    for block in range(blocks):
        first, last = block * _BLOCK * cols, min((block + 1) * _BLOCK * cols, size)
        for row in (block * _BLOCK, last // cols - 1):
            for start in range(row * cols, (row + 1) * cols):
                if inflows[start] == _WAITING:
                    count = _release(start, first, last, False, step, receivers, inflows, stack, 0)
                    inflows[start] = _DONE
                    while count:
                        count -= 1
                        cell = stack[count]
                        _gather(cell, step, angle, receivers, total, is_open)
                        count = _release(cell, 0, size, True, step, receivers, inflows, stack, count)
    stuck = 0
    for cell in range(size):
        stuck += not np.isnan(angle[cell]) and inflows[cell] != _DONE
    return stuck


def flow_angle(filled_ground, direction, cell_m):
    """Return the direction of steepest descent over the eight triangular facets round each cell (D-infinity).

    Arguments:
        filled_ground: (rows, cols) heights from `fill.filled` [m], NaN = no data.
        direction: (rows, cols) uint8 codes from `flow.flow_direction` for the same ground.
        cell_m: spacing of square cells [m].
    Returns: (rows, cols) degrees clockwise from north, 0 <= angle < 360; -1 = outlet, NaN = no data. float32
        for float32 ground, else float64.
    Raises: ValueError: shapes differ, or cell_m is not a positive number.
    Source: Tarboton (1997) equations 1-5; of equally steep facets the first clockwise from north counts.
        Departures: level ground, and cells on the edge or beside no data with no whole facet that falls,
        follow their D8 direction.
    """
    spacing(cell_m)
    if np.shape(direction) != np.shape(filled_ground):
        raise ValueError(
            f"direction has shape {np.shape(direction)}, the ground {np.shape(filled_ground)}; expected the same"
        )
    z = with_rim(filled_ground)
    angle = np.empty(np.shape(filled_ground), z.dtype)
    _angles(len(angle), z, np.ascontiguousarray(direction, np.uint8), angle)
    return angle


def upslope_area_dinf(angle, cell_m, weights=None):
    """Return the area that drains through each cell when flow parts between two neighbours, its own included.

    Arguments:
        angle: (rows, cols) from `flow_angle` [degrees].
        cell_m: spacing of square cells [m].
        weights: (rows, cols) share of each cell's area that counts, or a depth of runoff; 1 everywhere if
            None.
    Returns:
        area_m2: (rows, cols) float64 [m2, times the unit of the weights]; NaN = no data.
        open_edge: (rows, cols) bool, True where any of it comes over a cell on the raster edge or beside no
            data: a LOWER bound.
    Raises: ValueError: shapes differ, cell_m is not a positive number, or the angles run in a loop.
    Source: Tarboton (1997): each cell parts its area between the two neighbours its angle lies between, in
        inverse proportion to the angular distance (equation 6); cells in topological order.
    """
    spacing(cell_m)
    if weights is not None and np.shape(weights) != np.shape(angle):
        raise ValueError(f"weights have shape {np.shape(weights)}, angles {np.shape(angle)}; expected the same")
    angle = with_rim(angle)
    total = np.full(angle.shape, np.nan)
    total[1:-1, 1:-1] = cell_m * cell_m * (1.0 if weights is None else np.asarray(weights))
    inflows, is_open = np.full(angle.shape, _DONE), np.zeros(angle.shape, np.bool_)
    receivers = np.empty(angle.shape, np.uint8)
    bad = sum(_receivers(len(angle), angle, receivers))
    if bad:
        raise ValueError(
            f"{bad} angles are 360 degrees or more; expected 0 <= angle < 360, -1 (outlet) or NaN (no data)"
        )
    _inflows(len(angle) - 2, angle, receivers, inflows, is_open)
    flat = (angle.shape[1], *(part.ravel() for part in (angle, receivers, inflows, is_open, total)))
    _within_blocks(-(-len(angle) // _BLOCK), *flat)
    stuck = _across_blocks(*flat)
    if stuck:
        raise ValueError(f"the angles run in a loop ({stuck} cells never drain); make them with flow_angle")
    total[np.isnan(angle)] = np.nan
    return np.ascontiguousarray(total[1:-1, 1:-1]), np.ascontiguousarray(is_open[1:-1, 1:-1])
