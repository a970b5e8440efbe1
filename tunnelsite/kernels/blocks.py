"""Ground in coarser blocks, and a coarse raster back on the cells: for what changes over tens of metres only."""

import numpy as np

from tunnelsite.kernels.shared import shared


def block_means(values, side):
    """Return means of blocks of side x side cells, the last ones cut off by the array's end.

    Arguments: values: float32 [rows, cols], NaN = no data; side [cells], 1 or more.
    Return: float32 [ceil(rows / side), ceil(cols / side)], NaN where fewer than half of a block's cells are known.
    """
    rows, cols = values.shape
    out = np.full((-(-rows // side), -(-cols // side)), np.float32(np.nan))
    _means(len(out), values, side, out)
    return out


@shared
def _means(mine, values, side, out):
    rows, cols = values.shape
    for i in range(mine[0], mine[1]):
        for j in range(out.shape[1]):
            total, known, cells = 0.0, 0, 0
            for r in range(i * side, min(i * side + side, rows)):
                for c in range(j * side, min(j * side + side, cols)):
                    cells += 1
                    z = values[r, c]
                    if np.isfinite(z):
                        known += 1
                        total += z
            if 2 * known >= cells:
                out[i, j] = total / known


def block_scatter(values, means, side):
    """Return the root mean square of the known values off their block's mean. Arguments: values; means, from `block_means`; side."""
    out = np.full(means.shape, np.float32(np.nan))
    _scatter(len(out), values, means, side, out)
    return out


@shared
def _scatter(mine, values, means, side, out):
    for i in range(mine[0], mine[1]):
        for j in range(out.shape[1]):
            total, known = 0.0, 0
            for r in range(i * side, min(i * side + side, values.shape[0])):
                for c in range(j * side, min(j * side + side, values.shape[1])):
                    z = values[r, c]
                    if np.isfinite(z):
                        known += 1
                        total += (z - means[i, j]) ** 2
            if known:
                out[i, j] = np.sqrt(total / known)


def spread(coarse, side, values):
    """Return a raster of blocks on the cells it came from, straight between the middles of blocks.

    Arguments: coarse: float32 [ceil(rows / side), ceil(cols / side)], NaN = no data; side [cells]; values: float32 [rows, cols].
    Return: float32 [rows, cols]; NaN where values are; where a block round a cell is not known, that of the nearest.
    """
    out = np.full(values.shape, np.float32(np.nan))
    _spread(len(out), coarse, side, values, out)
    return out


@shared
def _spread(mine, coarse, side, values, out):
    cols = values.shape[1]
    for r in range(mine[0], mine[1]):
        y = (r + 0.5) / side - 0.5
        i = min(max(int(np.floor(y)), 0), max(coarse.shape[0] - 2, 0))
        low = min(i + 1, coarse.shape[0] - 1)
        down = min(max(y - i, 0.0), 1.0)
        for c in range(cols):
            if not np.isfinite(values[r, c]):
                continue
            x = (c + 0.5) / side - 0.5
            j = min(max(int(np.floor(x)), 0), max(coarse.shape[1] - 2, 0))
            east = min(j + 1, coarse.shape[1] - 1)
            right = min(max(x - j, 0.0), 1.0)
            upper = coarse[i, j] + right * (coarse[i, east] - coarse[i, j])
            lower = coarse[low, j] + right * (coarse[low, east] - coarse[low, j])
            found = upper + down * (lower - upper)
            out[r, c] = found if np.isfinite(found) else coarse[r // side, c // side]
