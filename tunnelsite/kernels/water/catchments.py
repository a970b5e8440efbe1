"""Raise every hollow to its spill level, by way of the catchments of the ground as it is.

Heights are flattened or [row, col] with a rim of NaN one cell wide; NaN counts as ground without bottom, so that water leaves
into it. Cells of equal height are ordered by their place, so that every cell but the bottoms has a lower neighbour.

1. Each cell belongs to the bottom that a walk over lower neighbours leads to. Every way out of a cell is a way out of its
   bottom and back, so the filled height is the larger of its own and the level at which its bottom spills.
2. Two catchments need only be joined where the lower neighbours of a cell fall into parts that do not touch (a saddle): where
   they touch, the catchments meet lower down. Saddles are about as many as bottoms and tops, 2-5 % of the cells.
3. On that graph of catchments and saddles the level of a bottom is the lowest, over all ways to the outside, of the highest
   saddle on the way: Boruvka's rounds find it. Heights are picked and compared, never computed: nothing is rounded, and no
   order or tie matters to the result.

Blocks of rows are worked on side by side; a walk stays in its block, and a cell that only falls to the next block is a bottom of its
own, with its own height as the level at which it spills there.

Sources: Cordonnier, Bovy & Braun (2019) A versatile, linear complexity algorithm for flow routing in topographies with depressions,
Earth Surface Dynamics 7:549-562; Barnes (2016) Computers & Geosciences 96:56-68 (levels from a graph of catchments). [@cordonnier-2019]
[@barnes-2016]; saddles in place of all borders, and blocks, are derived here.
"""

import numpy as np

from tunnelsite.kernels.compiled import njit
from tunnelsite.kernels.options import INNER, PLAIN
from tunnelsite.kernels.shared import shared, shared_singly

_BLOCK = 128  # rows
_OUTSIDE = 1  # label; 0 = not labelled yet, bottoms count from 2 on
# Neighbours as bits 1, 2, 4 ...: N NE NW W come before a cell in scanning order, E SW S SE after it. N stands first: labels
# taken from the row above do not wait for each other.
_ROW = np.array([-1, -1, -1, 0, 0, 1, 1, 1])
_COL = np.array([0, 1, -1, -1, 1, -1, 0, 1])
_BEFORE, _NOT_ABOVE, _NOT_BELOW = 0x0F, 0xF8, 0x1F


def _parts(width):
    """For every set of lower neighbours: how many parts that do not touch it has besides the first, and the step to one cell
    of each part.
    """
    bit = 1 << np.arange(8)
    touch = np.maximum(abs(_ROW[:, None] - _ROW), abs(_COL[:, None] - _COL)) <= 1
    has = (np.arange(256)[:, None] & bit) > 0
    beside, first = np.where(has, touch @ bit, 0), has.argmax(1)
    beside = np.bitwise_or.reduce(beside, 1)
    left, count, chosen = np.arange(256), np.zeros(256, np.uint8), []
    while left.any():
        chosen.append(first[left])
        count += left > 0
        part = left & -left
        for _ in range(4):  # the most steps from end to end of a part
            part |= beside[part] & left
        left &= ~part
    steps = (_ROW * width + _COL)[np.transpose(chosen)]
    return np.maximum(count, 1) - np.uint8(1), steps.astype(
        np.uint64
    )  # unsigned: no place has to be tested for being negative


@shared_singly
def _compare(block, z, lower, label, rows):
    # Which neighbours of the cells in a block are lower; no data is labelled, all else is 0.
    for row in range(rows[block], rows[block + 1]):
        a, b, c = z[row - 1], z[row], z[row + 1]
        nw, n, ne, w, o, e = a[:-2], a[1:-1], a[2:], b[:-2], b[1:-1], b[2:]
        sw, s, se = c[:-2], c[1:-1], c[2:]
        out, mark = lower[row, 1:-1], label[row, 1:-1]
        lower[row, 0], lower[row, -1], label[row, 0], label[row, -1] = 0, 0, _OUTSIDE, _OUTSIDE
        for k in range(o.size):
            here = o[k]
            before = (not n[k] > here) | (not ne[k] > here) << 1 | (not nw[k] > here) << 2 | (not w[k] > here) << 3
            after = (
                (not e[k] >= here) << 4 | (not sw[k] >= here) << 5 | (not s[k] >= here) << 6 | (not se[k] >= here) << 7
            )
            out[k] = before | after if here == here else 0
            mark[k] = 0 if here == here else _OUTSIDE


@njit(**INNER, forceinline=True)
def _inside(lower, cell, first, last, width):
    # Lower neighbours within the block.
    bits = lower[cell]
    if cell < first + width:
        bits &= _NOT_ABOVE
    if cell >= last - width:
        bits &= _NOT_BELOW
    return bits


@shared_singly
def _bottoms(block, lower, label, cells, width, counts):
    # How many cells of a block lead nowhere within it.
    count, first, last = 0, cells[block], cells[block + 1]
    for row in range(first, last, width):
        inside = np.uint8((_NOT_ABOVE if row == first else 255) & (_NOT_BELOW if row == last - width else 255))
        ways, mark, ends = lower[row : row + width], label[row : row + width], np.int32(0)
        for k in range(ways.size):
            ends += np.int32(ways[k] & inside == 0) - mark[k]  # 1 = no data, which has nothing lower either
        count += ends
    counts[block + 1] = count


@shared_singly
def _label(block, lower, label, cells, width, more, steps, numbers, most):
    """Label the cells of a block by the bottom they lead to, from its number on; count how many spills they hold at most."""
    first, last, fresh = cells[block], cells[block + 1], numbers[block]
    spills = 2 * np.int64(width)
    for cell in range(first, last):
        spills += more[lower[cell]]
        if label[cell]:
            continue
        before = lower[cell] & _BEFORE
        if before and cell >= first + width:
            label[cell] = label[cell + steps[before, 0]]
            continue
        end = cell
        while not label[end]:
            bits = _inside(lower, end, first, last, width)
            if not bits:
                label[end] = fresh
                fresh += 1
                break
            end += steps[bits, 0]
        found, at = label[end], cell
        while not label[at]:
            label[at] = found
            at += steps[_inside(lower, at, first, last, width), 0]
    most[block + 1] = spills


@shared_singly
def _spills(block, lower, label, cells, width, more, steps, pairs, over, part):
    """Write down which catchments meet over which cells of a block."""
    first, last, count, stop = cells[block], cells[block + 1], part[block], part[block + 1]
    for cell in range(first, last):
        bits = lower[cell]
        for k in range(1, more[bits] + 1):
            one, other = label[cell + steps[bits, 0]], label[cell + steps[bits, k]]
            if one != other:
                pairs[0, count], pairs[1, count], over[count] = one, other, cell
                count += 1
    for row in range(first, last, max(last - width - first, width)):  # the rows beside other blocks
        for cell in range(row, row + width):
            bits = lower[cell]
            if bits and not _inside(lower, cell, first, last, width):
                pairs[0, count], pairs[1, count], over[count] = label[cell], label[cell + steps[bits, 0]], cell
                count += 1
    pairs[:, count:stop] = over[count:stop] = _OUTSIDE  # joins nothing


@njit(**PLAIN)
def _levels(one, other, height, onto):
    """Level at which each catchment spills; the spills are used up, and `onto`, which is 0, 1, 2 ... at first.

    What holds throughout is level(k) = max(level[k], level(onto[k])). In every round each catchment that is still its own
    goes onto the one beyond its lowest spill, which holds because no way out of it is lower; all but the lowest spill of those
    between two of them then drop out. Of equal spills the first in the list counts for both sides, so no ring forms but pairs.
    """
    count, beyond = onto.size, onto.copy()
    level, lowest = np.empty(count, height.dtype), np.empty(count, height.dtype)
    level[:], lowest[:] = -np.inf, np.inf
    own, owned, left = onto[_OUTSIDE + 1 :].copy(), count - _OUTSIDE - 1, one.size
    while left:
        kept = 0
        for k in range(left):
            a, b, high = onto[one[k]], onto[other[k]], height[k]
            if a != b:
                one[kept], other[kept], height[kept] = a, b, high
                kept += 1
                if high < lowest[a]:
                    lowest[a], beyond[a] = high, b
                if high < lowest[b]:
                    lowest[b], beyond[b] = high, a
        left = kept
        for k in range(owned):
            a = own[k]
            b = beyond[a]
            if b == _OUTSIDE or beyond[b] != a or a > b:
                onto[a], level[a] = b, lowest[a]
        last, owned = owned, 0
        for k in range(last):
            a = own[k]
            if onto[a] == a:
                lowest[a] = np.inf
                own[owned] = a
                owned += 1
            else:
                _shorten(onto, level, a)
    for k in range(_OUTSIDE + 1, count):
        _shorten(onto, level, k)
    return level


@njit(**INNER, forceinline=True)
def _shorten(onto, level, k):
    while onto[onto[k]] != onto[k]:
        level[k] = max(level[k], level[onto[k]])
        onto[k] = onto[onto[k]]


@shared
def _raise(mine, z, label, level):
    for row in range(1 + mine[0], 1 + mine[1]):
        for col in range(1, z.shape[1] - 1):
            up = level[label[row, col]]
            z[row, col] = up if up > z[row, col] else z[row, col]  # false for no data


def raise_hollows(heights):
    """Fill hollows in place. Arguments: heights: (rows, cols) [m], float32 or float64, with a rim of NaN."""
    rows, width = heights.shape
    more, steps = _parts(width)
    row = np.append(np.arange(1, rows - 1, _BLOCK), rows - 1)
    cells, wide = (row * width).astype(np.uint64), np.uint64(width)
    lower, label = np.empty(heights.shape, np.uint8), np.empty(heights.shape, np.int32)
    label[[0, -1]] = _OUTSIDE
    _compare(len(row) - 1, heights, lower, label, row)
    low, mark = lower.ravel(), label.ravel()
    first, part = np.zeros((2, row.size), np.int64)
    first[0] = _OUTSIDE + 1
    _bottoms(len(cells) - 1, low, mark, row * width, width, first)
    first = first.cumsum()
    _label(len(cells) - 1, low, mark, cells, wide, more, steps, first, part)
    part = part.cumsum()
    pairs, over = np.empty((2, part[-1]), np.int32), np.empty(part[-1], np.int32)
    _spills(len(cells) - 1, low, mark, cells, wide, more, steps, pairs, over, part)
    del lower, low  # what is not used again goes first: this is where a screening holds most
    height = heights.ravel()[over].astype(np.float64)
    del over
    _raise(rows - 2, heights, label, _levels(pairs[0], pairs[1], height, np.arange(first[-1], dtype=np.int32)))
