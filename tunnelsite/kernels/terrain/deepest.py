"""The deepest cut and the highest fill of a pad, looked for over the very rectangle: at every height on it, along its edges
and at its corners. Bilinear ground over a plane is highest and lowest nowhere else."""

import numpy as np
from numba import njit


@njit(cache=True, nogil=True)
def edge_count(half):
    """Return how many depths `edge_depths` leaves, for half a pad [heights]."""
    return 2 * (2 * int(half[0] + 1e-9) + 1) + 2 * (2 * int(half[1] + 1e-9) + 1) + 4


@njit(cache=True, nogil=True)
def deepest(depths):
    """Return the largest of some depths >= 0: their bits, read as integers, are in the same order and
    compare at once."""
    bits = depths.view(np.int64)
    largest = np.zeros(1, np.int64)
    top = largest[0]
    for i in range(bits.size):
        top = max(top, bits[i])
    largest[0] = top
    return largest.view(np.float64)[0]


@njit(cache=True, nogil=True, error_model="numpy")
def only_within(depths, reach, half):
    """Blank the depths of end cells whose middles lie beyond the pad, though part of them counts for the volume."""
    reach_u, reach_v = reach
    wide, high = 2 * reach_u + 1, 2 * reach_v + 1
    for layer in range(2):
        if reach_u > half[0] + 1e-9:
            for i in range(high):
                depths[layer, i * wide] = 0.0
                depths[layer, (i + 1) * wide - 1] = 0.0
        if reach_v > half[1] + 1e-9:
            for j in range(wide):
                depths[layer, j] = 0.0
                depths[layer, (high - 1) * wide + j] = 0.0


@njit(cache=True, nogil=True, error_model="numpy")
def edge_depths(ground, centre, heights, reach, half, planes, depths, at):
    """Leave cuts and fills [m] where lines of heights meet the pad's edges, and at its corners, in `depths` [2, from `at` on].

    ground; centre (row, col, cells from one height to the next); heights of the pad's cells less the centre's, reach, as in
    `kernels.terrain.grading`; half the pad [heights]; planes, as `kernels.terrain.grading.depth_planes`. A height that is not known counts
    as its neighbour on the pad.
    """
    r, c, step = centre
    down, right = (int(half[1] + 1e-9) + 1) * step, (int(half[0] + 1e-9) + 1) * step
    inside = down <= r < ground.shape[0] - down and right <= c < ground.shape[1] - right
    if inside and abs(_edges(ground, centre, heights, reach, half, planes, depths, at)) < np.inf:
        return
    patch = _patched(ground, centre, half)
    _edges(patch, (patch.shape[0] // 2, patch.shape[1] // 2, 1), heights, reach, half, planes, depths, at)


@njit(cache=True, nogil=True, error_model="numpy", fastmath={"reassoc", "contract"})
def _edges(ground, centre, heights, reach, half, planes, depths, at):
    """As `edge_depths`; return the sum of all heights just beyond the pad, which is finite where they are known."""
    r, c, step = centre
    (kept, level, east, south), (true_level, true_east, true_south), most = planes
    wide = 2 * reach[0] + 1
    low_u, low_v = int(half[0] + 1e-9), int(half[1] + 1e-9)
    part_u, part_v = max(half[0] - low_u, 0.0), max(half[1] - low_v, 0.0)
    total, datum = 0.0, np.float64(ground[r, c])
    long, high = 2 * low_u + 1, 2 * low_v + 1
    for side in (-1, 1):  # edges along the columns, north and south
        first = (reach[1] + side * low_v) * wide + reach[0] - low_u
        row, col = r + side * (low_v + 1) * step, c - low_u * step
        near, line = heights[first : first + long], ground[row, col : col + (long - 1) * step + 1]
        cuts, fills = depths[0, at : at + long], depths[1, at : at + long]
        edge = (part_v, kept, level + south * side * half[1] - east * low_u, east)
        bare = (true_level + true_south * side * half[1] - true_east * low_u, true_east, most)
        if step == 1:
            total += _along(near, line, datum, edge, bare, cuts, fills)
        else:
            total += _along(near, line[::step], datum, edge, bare, cuts, fills)
        at += long
    for side in (-1, 1):  # along the rows, west and east
        first, col = (reach[1] - low_v) * wide + reach[0] + side * low_u, c + side * (low_u + 1) * step
        near = heights[first : first + (high - 1) * wide + 1 : wide]
        line = ground[r - low_v * step : r + low_v * step + 1 : step, col]
        cuts, fills = depths[0, at : at + high], depths[1, at : at + high]
        edge = (part_u, kept, level + east * side * half[0] - south * low_v, south)
        bare = (true_level + true_east * side * half[0] - true_south * low_v, true_south, most)
        total += _along(near, line, datum, edge, bare, cuts, fills)
        at += high
    for down in (-1, 1):
        for across in (-1, 1):
            row, col = r + down * low_v * step, c + across * low_u * step
            here, beside = ground[row, col], ground[row, col + across * step]
            below, outside = ground[row + down * step, col], ground[row + down * step, col + across * step]
            inner = here + part_u * (beside - here)
            height = inner + part_v * (below + part_u * (outside - below) - inner) - datum
            total += outside
            d = kept * height - (level + east * across * half[0] + south * down * half[1])
            over = height - (true_level + true_east * across * half[0] + true_south * down * half[1])
            depths[0, at], depths[1, at] = max(d, over - most, 0.0), max(-d, -over - most, 0.0)
            at += 1
    return total


# The sum may be taken in any order; NaN must still spread.
@njit(cache=True, nogil=True, error_model="numpy", fastmath={"reassoc", "contract"})
def _along(near, far, datum, edge, bare, cuts, fills):
    """Cuts and fills where lines of heights cross one edge, a part of the way from near to far; the sum of the far heights."""
    part, kept, start, rise = edge
    true_start, true_rise, most = bare
    total = 0.0
    for j in range(near.size):
        beyond = far[j] - datum
        total += beyond
        height = near[j] + part * (beyond - near[j])
        d = kept * height - (start + rise * j)
        over = height - (true_start + true_rise * j)
        cuts[j] = max(d, over - most, 0.0)
        fills[j] = max(-d, -over - most, 0.0)
    return total


@njit(cache=True, nogil=True)
def _patched(ground, centre, half):
    """The heights on and just beyond the pad, float64; one that is not known is its neighbour on the pad."""
    r, c, step = centre
    low_u, low_v = int(half[0] + 1e-9), int(half[1] + 1e-9)
    patch = np.empty((2 * low_v + 3, 2 * low_u + 3))
    for i in range(-low_v - 1, low_v + 2):
        for j in range(-low_u - 1, low_u + 2):
            row, col = r + i * step, c + j * step
            on_row, on_col = r + min(max(i, -low_v), low_v) * step, c + min(max(j, -low_u), low_u) * step
            height = _known(ground, row, col, _known(ground, row, on_col, _known(ground, on_row, on_col, np.nan)))
            patch[i + low_v + 1, j + low_u + 1] = height
    return patch


@njit(cache=True, nogil=True)
def _known(ground, row, col, otherwise):
    """Return a height, or another where it is not known."""
    if 0 <= row < ground.shape[0] and 0 <= col < ground.shape[1]:
        height = np.float64(ground[row, col])
        if abs(height) < np.inf:
            return height
    return otherwise
