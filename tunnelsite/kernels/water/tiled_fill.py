"""Depression filling tile by tile: the same surface to the bit as `fill.filled` of the whole raster.

The filled height of a cell is the lowest level at which it can reach the edge of the data: the least, over all ways out,
of the highest ground on the way. Each tile is filled by itself with its perimeter as outlet and sends back which perimeter
cells its ground drains to and at what height one such catchment spills into the next. On that graph the levels of all
catchments follow; the tile is then filled again with its perimeter raised to them. Levels are heights of cells, picked and
compared but never computed, so nothing is rounded.

Source: Barnes (2016) Parallel Priority-Flood depression filling for trillion cell digital elevation models on desktops or
clusters, Computers & Geosciences 96:56-68 [@barnes-2016]. Departures: catchments are labelled by the D8 directions of the tile
filled by itself, only a spanning tree of each tile's spills is kept, and the last step is a second fill, without labels.
"""

from typing import NamedTuple

import numpy as np

from tunnelsite.kernels.compiled import njit
from tunnelsite.kernels.options import INNER, PLAIN
from tunnelsite.kernels.water.fill import filled
from tunnelsite.kernels.water.flow import COL_STEP, NO_DATA, OUTLET, ROW_STEP, flow_direction
from tunnelsite.kernels.water.tile_frame import mine, numbers, perimeter, spots


class Spills(NamedTuple):
    """What one tile tells of itself.

    Attributes: ground, height of its perimeter cells, NaN = no data; label, the catchment each drains to, 0 = out of the
    data, from 1 on those that leave the tile; count, how many labels but 0; a, b, level, the spills between labels.
    """

    ground: np.ndarray
    label: np.ndarray
    count: int
    a: np.ndarray
    b: np.ndarray
    level: np.ndarray


@njit(**PLAIN)
def _labels(direction, row_step, col_step):
    """Label every cell of a tile by the outlet it drains to: on the perimeter from 1 on, elsewhere (beside no data) 0;
    -1 = no data. Return labels and how many.
    """
    rows, cols = direction.shape
    label = np.full((rows, cols), -2, np.int32)
    way = np.empty(rows * cols, np.int32)
    count = 0
    for start in range(rows * cols):
        length, cell = 0, start
        while True:
            r, c = cell // cols, cell % cols
            code = direction[r, c]
            found = label[r, c]
            if code == NO_DATA:
                found = -1
            elif found == -2 and code == OUTLET:
                found = 0
                if r == 0 or c == 0 or r == rows - 1 or c == cols - 1:
                    count += 1
                    found = count
            way[length] = cell
            length += 1
            if found != -2:
                break
            cell = (r + row_step[code]) * cols + c + col_step[code]
        for k in range(length):
            label[way[k] // cols, way[k] % cols] = found
    return label, count


@njit(**PLAIN)
def _borders(ground, label):
    """Pairs of neighbouring cells with different labels, and the higher of the two heights; a cell beside no data or on
    a label of its own spills out (0) at its own height.
    """
    rows, cols = label.shape
    size = 1024
    a, b, level = np.empty(size, np.int32), np.empty(size, np.int32), np.empty(size, ground.dtype)
    count = 0
    for r in range(rows):
        for c in range(cols):
            if label[r, c] < 0:
                continue
            if count + 8 > size:
                size *= 2
                a = np.concatenate((a, np.empty_like(a)))
                b = np.concatenate((b, np.empty_like(b)))
                level = np.concatenate((level, np.empty_like(level)))
            for k in range(8):
                i, j = r + ROW_STEP[k], c + COL_STEP[k]
                if i < 0 or j < 0 or i >= rows or j >= cols:
                    continue
                other = max(label[i, j], 0)
                height = ground[r, c]
                if label[i, j] >= 0:
                    if other <= label[r, c]:
                        continue  # met from the other side, or the same
                    height = max(height, ground[i, j])
                elif label[r, c] == 0:
                    continue
                a[count], b[count], level[count] = label[r, c], other, height
                count += 1
    return a[:count], b[:count], level[:count]


@njit(**INNER, forceinline=True)
def _root(parent, k):
    while parent[k] != k:
        parent[k] = parent[parent[k]]
        k = parent[k]
    return k


@njit(**PLAIN)
def _tree(a, b, order, count):
    # Kruskal: which edges, taken from the lowest up, join what was apart.
    parent = np.arange(count)
    kept = np.zeros(a.size, np.bool_)
    for edge in order:
        p, q = _root(parent, a[edge]), _root(parent, b[edge])
        if p != q:
            parent[p] = q
            kept[edge] = True
    return kept


@njit(**PLAIN)
def _levels(a, b, level, order, count):
    """Lowest level at which each label reaches label 0, flooding the lowest spills first; -inf for 0 itself."""
    parent, following = np.arange(count), np.arange(count)
    found = np.full(count, np.nan, level.dtype)
    found[0] = -np.inf
    for edge in order:
        p, q = _root(parent, a[edge]), _root(parent, b[edge])
        if p == q:
            continue
        if not np.isnan(found[p]):
            p, q = q, p  # only the side that is out already has levels
        if not np.isnan(found[q]):
            member = p
            while True:
                found[member] = level[edge]
                member = following[member]
                if member == p:
                    break
        parent[p] = q
        following[p], following[q] = following[q], following[p]
    return found


def tile_spills(ground):
    """Return how one tile drains over its perimeter when all around it is open.

    Arguments: ground: (rows, cols) heights of the tile [m], NaN = no data.
    Raises: ValueError as `filled`.
    """
    ground = _finite(ground)
    own = filled(ground)
    direction = flow_direction(own, 1.0)
    codes_row, codes_col = _code_steps()
    label, count = _labels(direction, codes_row, codes_col)
    a, b, level = _borders(own, label)
    kept = _tree(a, b, np.argsort(level, kind="stable"), count + 1)
    row, col = perimeter(*ground.shape)
    return Spills(ground[row, col], label[row, col], count, a[kept], b[kept], level[kept])


def perimeter_levels(of, tiles):
    """Return the filled height of every perimeter cell of the raster.

    Arguments: of: the `tile_frame.Frame`; tiles: the `Spills` of every tile, in order.
    Returns: flat array of heights [m], NaN = no data.
    """
    shift = np.concatenate([[0], np.cumsum([one.count for one in tiles])])
    ground = np.concatenate([one.ground for one in tiles])
    label = np.concatenate([_shifted(one.label, by) for one, by in zip(tiles, shift, strict=False)])
    a = [_shifted(one.a, by) for one, by in zip(tiles, shift, strict=False)]
    b = [_shifted(one.b, by) for one, by in zip(tiles, shift, strict=False)]
    level = [one.level for one in tiles]
    for spot in spots(of):
        for part, new in zip((a, b, level), _crossings(of, spot, ground, label), strict=True):
            part.append(new)
    a, b, level = np.concatenate(a), np.concatenate(b), np.concatenate(level)
    levels = _levels(a, b, level, np.argsort(level, kind="stable"), int(shift[-1]) + 1)
    return np.where(np.isnan(ground), ground, np.maximum(ground, levels[np.maximum(label, 0)]))


def refilled(of, spot, ground, levels):
    """Return one tile of the filled raster.

    Arguments: of, spot: frame and tile; ground: (rows, cols) heights of the tile [m]; levels: from `perimeter_levels`.
    """
    raised = _finite(ground)
    row, col = perimeter(spot.rows, spot.cols)
    raised[row, col] = levels[mine(of, spot)]
    return filled(raised)


def _crossings(of, spot, ground, label):
    """Spills from a tile's perimeter to the next tiles' (each pair once) and out of the data."""
    row, col = perimeter(spot.rows, spot.cols)
    me = np.arange(of.first[spot.number], of.first[spot.number + 1])
    valid = ~np.isnan(ground[me])
    found = [[], [], []]
    for k in range(8):
        r, c = row + ROW_STEP[k], col + COL_STEP[k]
        beyond = valid & ((r < 0) | (c < 0) | (r >= spot.rows) | (c >= spot.cols))
        here = me[beyond]
        there = numbers(of, r[beyond] + spot.row, c[beyond] + spot.col)
        out = (there < 0) | np.isnan(ground[there])
        use = out | (there > here)
        here, there, out = here[use], there[use], out[use]
        found[0].append(label[here])
        found[1].append(np.where(out, 0, label[there]))
        found[2].append(np.where(out, ground[here], np.maximum(ground[here], ground[there])))
    return [np.concatenate(one) for one in found]


def _shifted(label, by):
    return np.where(label > 0, label + by, label).astype(np.int64)


def _finite(ground):
    dtype = ground.dtype if ground.dtype in (np.float32, np.float64) else np.float64
    ground = np.array(ground, dtype)
    ground[np.isinf(ground)] = np.nan
    return ground


def _code_steps():
    row, col = np.zeros(256, np.int64), np.zeros(256, np.int64)
    for code, dr, dc in zip((1, 4, 16, 64, 2, 8, 32, 128), ROW_STEP, COL_STEP, strict=True):
        row[code], col[code] = dr, dc
    return row, col
