"""Depression-filled ground, exact to the bit, by Priority-Flood.

Arrays are [row, col], row 0 = north, NaN = no data. Water leaves the raster over its edge and into no data
alike: what lies beyond is unknown, and an outlet is the assumption that invents no lake there.

Sources: Barnes, Lehman & Mulla (2014) Priority-Flood, Computers & Geosciences 62:117-127 (the flood); Zhou,
Sun & Fu (2016) An efficient variant of the Priority-Flood algorithm, Computers & Geosciences 90:87-96 (slopes
need no queue). Both from memory.
"""

import numpy as np
from numba import njit, prange

from tunnelsite.kernels.bands import bands

LARGEST = 2**31 - 1  # cells; the kernels index cells with int32


@njit(inline="always")
def _sift_up(heights, cells, last, height, cell):
    k = last
    while k > 0:
        parent = (k - 1) >> 1
        if heights[parent] <= height:
            break
        heights[k], cells[k] = heights[parent], cells[parent]
        k = parent
    heights[k], cells[k] = height, cell


@njit(inline="always")
def _drop_first(heights, cells, last):
    height, cell = heights[last], cells[last]
    k = 0
    while True:
        child = 2 * k + 1
        if child >= last:
            break
        if child + 1 < last and heights[child + 1] < heights[child]:
            child += 1
        if heights[child] >= height:
            break
        heights[k], cells[k] = heights[child], cells[child]
        k = child
    heights[k], cells[k] = height, cell


@njit(cache=True, parallel=True, nogil=True)
def _gaps(z, rows, cols):
    # Which rows of the raster, rim and all, hold no data; the rim's own columns do not count.
    gap = np.ones(rows + 2, np.bool_)
    width = cols + 2
    for row in prange(1, rows + 1):
        missing = 0
        for value in z[row * width + 1 : row * width + 1 + cols]:
            missing += np.isnan(value)
        gap[row] = missing > 0
    return gap


@njit(cache=True, nogil=True)
def _seed(z, unvisited, rows, cols, work, step):
    # Where water leaves: valid cells on the edge or beside no data.
    count = 0
    width = cols + 2
    gap = _gaps(z, rows, cols)
    for row in range(1, rows + 1):
        first = row * width + 1
        # in most rows, and the rows beside them, nothing is missing: only the ends lie on the edge
        stride = 1 if gap[row - 1] or gap[row] or gap[row + 1] else max(cols - 1, 1)
        for cell in range(first, first + cols, stride):
            around = 0.0
            for k in range(8):
                around += z[cell + step[k]]
            if np.isnan(around) and not np.isnan(z[cell]):
                work[count] = cell
                count += 1
    for k in range(count):
        unvisited[work[k]] = np.nan
    return count


@njit(cache=True, nogil=True)
def _flood(z, unvisited, rows, cols):
    """Fill z, flattened with a rim of NaN one cell wide, in place.

    `unvisited` is a copy of z that turns NaN where the flood has been, so that one comparison tells both
    whether a neighbour is still to do and whether it is higher. `work` is two stacks in one array: from the
    left, slopes still to climb; from the right, either flooded cells still to spread from or (while climbing)
    cells that may be spills. A cell stands in one of them at a time, so they cannot meet.
    """
    width = cols + 2
    step = np.array([1, width + 1, width, width - 1, -1, -width - 1, -width, 1 - width])
    work = np.empty(z.size, np.int32)
    heap_z, heap_cell, heaped = np.empty(4096, z.dtype), np.empty(4096, np.int32), 0
    climbing = _seed(z, unvisited, rows, cols, work, step)
    while True:
        right = z.size
        while climbing:
            # Climb: a cell at or above a finished neighbour keeps its own height, whatever the order.
            climbing -= 1
            cell = work[climbing]
            here = z[cell]
            lower = False
            for k in range(8):
                beside = cell + step[k]
                height = unvisited[beside]
                if height >= here:
                    unvisited[beside] = np.nan
                    work[climbing] = beside
                    climbing += 1
                else:
                    lower |= height < here
            if lower:
                right -= 1
                work[right] = cell
        for k in range(right, z.size):
            # Only now is it known who still has open (hence lower) ground beside it: they alone need the
            # queue, 1-5 %.
            cell = work[k]
            is_open = False
            for j in range(8):
                is_open |= not np.isnan(unvisited[cell + step[j]])
            if is_open:
                if heaped == heap_z.size:
                    heap_z = np.concatenate((heap_z, np.empty_like(heap_z)))
                    heap_cell = np.concatenate((heap_cell, np.empty_like(heap_cell)))
                _sift_up(heap_z, heap_cell, heaped, z[cell], cell)
                heaped += 1
        if heaped == 0:
            return
        level, cell = heap_z[0], heap_cell[0]
        heaped -= 1
        _drop_first(heap_z, heap_cell, heaped)
        right = z.size
        while True:
            # Flood everything below the lowest spill to its level.
            for k in range(8):
                beside = cell + step[k]
                height = unvisited[beside]
                if height <= level:
                    unvisited[beside] = np.nan
                    z[beside] = level
                    right -= 1
                    work[right] = beside
                elif height > level:
                    unvisited[beside] = np.nan
                    work[climbing] = beside
                    climbing += 1
            if right == z.size:
                break
            cell = work[right]
            right += 1


def filled(ground, pause=lambda: None):
    """Return the ground with every depression filled to the level at which it spills.

    Arguments: ground: (rows, cols) ground heights [m], row 0 = north; NaN (or infinite) = no data. float32
        and float64 keep their precision, anything else is read as float64. pause(): called once the ground is
        copied and not looked at any more, so that a ground that lives in a file may leave memory.
    Returns: (rows, cols) the lowest surface at or above the ground from which every cell drains over the
        raster edge or into no data without going up; NaN where there is no data. Depressions come out level
        (no gradient is imposed).
    Raises: ValueError: ground is not two-dimensional, or has more than 2**31 - 1 cells.
    Source: Barnes et al. (2014) algorithm 2 with the shortcut of Zhou et al. (2016) in a stricter form: a
        cell enters the queue only if, when all slopes above finished cells are climbed, ground beside it is
        still unvisited. The filled surface is unique, so order and ties do not matter.
    """
    padded = with_rim(ground)
    pause()
    return filled_inside(padded)


def filled_inside(padded):
    """Fill heights with a rim of NaN (from `with_rim` or `rimmed`), which are used up, and return what lies inside the rim."""
    rows, cols = padded.shape
    if rows > 2 and cols > 2:
        _flood(padded.ravel(), padded.flatten(), rows - 2, cols - 2)
    return without_rim(padded)


def without_rim(padded):
    """Return what lies inside a rim one cell wide, moved together in the same memory: the padded array is used up."""
    rows, cols = padded.shape[0] - 2, padded.shape[1] - 2
    inside = padded.reshape(-1)[: rows * cols].reshape(rows, cols)
    for row in range(rows):
        inside[row] = padded[row + 1, 1:-1]  # each row moves towards the start, over rows that have moved already
    return inside


def ponding_depth(ground, filled_ground=None):
    """Return how deep water would stand on the ground before it spills [m].

    Arguments: ground: (rows, cols) ground heights [m]; filled_ground: `filled(ground)` if it is at hand.
    Returns: (rows, cols) depth [m], 0 outside depressions, NaN where there is no data.
    Raises: ValueError as `filled`, or filled_ground of another shape.
    """
    ground = np.asarray(ground)
    if filled_ground is None:
        filled_ground = filled(ground)
    if np.shape(filled_ground) != ground.shape:
        raise ValueError(
            f"filled_ground has shape {np.shape(filled_ground)}, the ground {ground.shape}; expected the same"
        )
    return filled_ground - ground


def with_rim(ground):
    """Return a float copy of a 2-D array with one more cell of NaN all round,
    and NaN for whatever is not finite.
    """
    ground = np.asarray(ground)
    if ground.ndim != 2:
        raise ValueError(f"ground has {ground.ndim} dimension(s) (shape {ground.shape}); expected rows x columns")
    padded = rimmed(ground.shape, ground.dtype if ground.dtype in (np.float32, np.float64) else np.float64)
    for rows in bands(ground.shape):
        _copy_finite(np.ascontiguousarray(ground[rows], padded.dtype), padded[rows.start + 1 : rows.stop + 1, 1:-1])
    return padded


@njit(cache=True, parallel=True, nogil=True)
def _copy_finite(values, out):
    for row in prange(values.shape[0]):
        for col in range(values.shape[1]):
            value = values[row, col]
            out[row, col] = value if np.isfinite(value) else np.nan


def rimmed(shape, dtype):
    """Return an array to be filled with heights of this shape, with a rim of NaN one cell wide round it.

    Raises: ValueError: more cells than flow can be traced over.
    """
    rows, cols = shape
    if (rows + 2) * (cols + 2) > LARGEST:
        raise ValueError(
            f"{rows} x {cols} cells are more than the {LARGEST} that flow can be traced over at once; "
            "use a larger cell or split the area by watershed"
        )
    padded = np.empty((rows + 2, cols + 2), dtype)
    for rim in (padded[:1], padded[-1:], padded[:, :1], padded[:, -1:]):
        rim[...] = np.nan
    return padded
