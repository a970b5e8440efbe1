"""What the sliding-sum kernels share: fixed tiles of an array, a local datum, and cells without data.

Sums slide within a tile only. Tiles are fixed to the array, so a result depends neither on the rows asked for nor on
the number of threads.
"""

import numpy as np

from tunnelsite.kernels.compiled import njit
from tunnelsite.kernels.options import INNER, PLAIN

TILE_ROWS = 128
SPAN = 2048  # widest window of cells a tile may read


def checked_rows(layer: np.ndarray, rows: tuple[int, int] | None) -> tuple[int, int]:
    """Return first and past-the-last output row; raise ValueError if they or the layer cannot be used."""
    if layer.ndim != 2 or layer.dtype not in (np.float32, np.float64):
        raise ValueError(f"layer is {layer.ndim}-D {layer.dtype}; expected 2-D float32 or float64 (NaN = no data)")
    start, stop = (0, layer.shape[0]) if rows is None else rows
    if not 0 <= start <= stop <= layer.shape[0]:
        raise ValueError(f"rows ({start}, {stop}) are not within the {layer.shape[0]} rows of the layer")
    return int(start), int(stop)


def checked_reach(reach: int) -> int:
    """Return the reach of a rectangle along the columns [cells]; raise ValueError if no tile can hold it."""
    if 2 * reach + 1 > SPAN // 2:
        raise ValueError(f"the rectangle spans {2 * reach + 1} columns; at most {SPAN // 2} fit: use a coarser cell")
    return reach


@njit(**PLAIN)
def tile_grid(shape, rows, reach):
    """Return first tile row, tiles down, tiles along and columns a tile for output `rows` of an array."""
    widest = SPAN - 2 * reach
    along = max((shape[1] + widest - 1) // widest, 1)
    first = rows[0] // TILE_ROWS
    down = (rows[1] + TILE_ROWS - 1) // TILE_ROWS - first if rows[1] > rows[0] else 0
    return first, down, along, (shape[1] + along - 1) // along


@njit(**INNER)
def tile_datum(layer, window, limit):
    """Return a local datum for the window (top, bottom, left, right) and how many of its cells exceed
    +-limit or are NaN."""
    top, bottom, left, right = window
    gaps = 0
    for r in range(top, bottom):
        line = layer[r, left:right]
        bound = line.dtype.type(limit)
        count = np.int32(0)
        for c in range(line.size):
            count += np.int32(not (abs(line[c]) <= bound))
        gaps += count
    datum = np.float64(layer[(top + bottom) // 2, (left + right) // 2])
    if gaps > 0 and not (abs(datum) <= limit):
        for r in range(top, bottom):
            for z in layer[r, left:right]:
                if abs(z) <= limit:
                    return np.float64(z), gaps
    return datum, gaps


@njit(**INNER)
def gaps_filled(layer, window, datum, limit):
    """Return a copy of the window with cells beyond +-limit or NaN set to the datum, and 2-D running counts
    of them."""
    top, bottom, left, right = window
    filled = np.empty((bottom - top, right - left), layer.dtype)
    counts = np.zeros((bottom - top + 1, right - left + 1), np.int32)
    for r in range(bottom - top):
        row_count = 0
        for c in range(right - left):
            z = layer[top + r, left + c]
            usable = abs(z) <= limit
            filled[r, c] = z if usable else datum
            row_count += not usable
            counts[r + 1, c + 1] = counts[r, c + 1] + row_count
    return filled, counts


@njit(**INNER)
def blank_gaps(counts, r, reach_u, reach_v, line):
    """Set to NaN the placements of one row of a window that cover a counted cell."""
    upper, lower = counts[r], counts[r + 2 * reach_v + 1]
    wide = 2 * reach_u + 1
    for c in range(line.size):
        if lower[c + wide] - upper[c + wide] - lower[c] + upper[c] > 0:
            line[c] = np.nan
