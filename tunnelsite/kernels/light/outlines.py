"""Horizons of things whose outlines are known, near them: from where a ray meets the outline itself, not from the cells behind it.

A wall that is met at the centre of the first cell behind it seems half a cell too far in the mean, which close to it is the whole of its
shade. An outline is a set of straight edges with a height of the top at either end; towards one azimuth each edge shades a strip of cells,
in which the way to it is linear in row and column. What the edges give is kept for the cells near them alone, and the scan takes the
higher of that and of the raster's own horizon.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from tunnelsite.kernels.compiled import njit
from tunnelsite.kernels.options import INNER, PLAIN
from tunnelsite.kernels.shared import shared

REACH = 48  # cells: farther off, half a cell is 1 % of the way
_BANDS = 16  # of rows, shared by the threads
_LEAST = 1e-3  # cells: an eye on the outline


class Floor(NamedTuple):
    """The least horizon tangent of some cells: runs of columns, those of row r being starts[r] to starts[r + 1].

    `starts` int64 [rows + 1], `first`, `end`, `offset` int64 [runs], `values` float32 [cells]; [0] each where there is none.
    """

    starts: np.ndarray
    first: np.ndarray
    end: np.ndarray
    offset: np.ndarray
    values: np.ndarray


NO_FLOOR = Floor(*(np.empty(0, np.int64) for _ in range(4)), np.empty(0, np.float32))


@dataclass(frozen=True)
class Outlines:
    """Edges on a grid and the cells near them.

    `edges` float64 [n, 6]: row and column of one end and of the other [cells, whole numbers are cell centres], height of the top at
    either end [m above the datum]; `floor`, of the cells within REACH.
    """

    edges: np.ndarray
    floor: Floor

    def towards(self, direction: tuple[float, float], observer: np.ndarray, eye: tuple[float, float, float]) -> Floor:
        """The horizon tangents that the edges make towards one direction (rows, columns; a unit vector).

        Arguments: observer [rows, cols] [m]; eye = (height above it [m], cell [m], drop per distance squared [1/m]).
        """
        self.floor.values[:] = 0.0
        if len(self.edges):
            _sweep(min(len(observer), _BANDS), self.edges, tuple(self.floor), direction, observer, eye)
        return self.floor


def outlines(edges: np.ndarray, shape: tuple[int, int]) -> Outlines:
    """Edges as in `Outlines` on a grid of that shape; edges whose tops are unknown are left out."""
    edges = np.ascontiguousarray(edges, np.float64).reshape(-1, 6)
    edges = edges[np.isfinite(edges).all(axis=1)]
    near = np.zeros(shape, bool)
    low = np.floor(np.minimum(edges[:, :2], edges[:, 2:4])).astype(int) - REACH
    high = np.ceil(np.maximum(edges[:, :2], edges[:, 2:4])).astype(int) + REACH + 1
    _mark(near, np.maximum(low, 0), np.maximum(high, 0))
    starts, first, end = _runs(near)
    length = end - first
    return Outlines(
        edges, Floor(starts, first, end, np.cumsum(length) - length, np.zeros(int(length.sum()), np.float32))
    )


def flipped(edges: np.ndarray) -> np.ndarray:
    """The same edges on the transposed grid."""
    return edges[:, [1, 0, 3, 2, 4, 5]]


@njit(**PLAIN)
def _mark(near, low, high):
    """Mark boxes, from their lowest cells to before their highest; mostly each lies nearly where the last one does."""
    top = left = bottom = right = 0
    for k in range(len(low)):
        for r in range(low[k, 0], min(high[k, 0], near.shape[0])):
            first, end = low[k, 1], min(high[k, 1], near.shape[1])
            if top <= r < bottom:  # what of this row the last box has marked
                if left <= first < right:
                    first = right
                elif left < end <= right:
                    end = left
            for c in range(first, end):
                near[r, c] = True
        top, left, bottom, right = low[k, 0], low[k, 1], high[k, 0], high[k, 1]


@njit(**PLAIN)
def _runs(near):
    """(starts, first, end) of the runs of true cells in each row."""
    rows, cols = near.shape
    starts = np.zeros(rows + 1, np.int64)
    for r in range(rows):
        starts[r + 1] = starts[r]
        for c in range(cols):
            starts[r + 1] += near[r, c] and (c == 0 or not near[r, c - 1])
    first, end = np.empty(starts[rows], np.int64), np.empty(starts[rows], np.int64)
    for r in range(rows):
        run = starts[r] - 1
        for c in range(cols):
            if near[r, c]:
                if c == 0 or not near[r, c - 1]:
                    run += 1
                    first[run] = c
                end[run] = c + 1
    return starts, first, end


@shared
def _sweep(mine, edges, floor, direction, observer, eye):
    rows = observer.shape[0]
    bands = min(rows, _BANDS)
    for band in range(mine[0], mine[1]):  # each cell belongs to one band, so that no two threads raise it
        top, bottom = rows * band // bands, rows * (band + 1) // bands
        last = floor[0][:-1].copy()  # by row, the run that was looked at last: the next edge is mostly near the same
        for k in range(len(edges)):
            _shade(edges[k], floor, last, direction, observer, eye, (top, bottom))


@njit(**INNER)
def _shade(edge, floor, last, direction, observer, eye, band):
    """Raise the cells of a band of rows from which one edge is seen, REACH at most before it."""
    starts, first, end, offset, values = floor
    down, right = direction
    lift, cell_m, drop = eye
    side0, side1 = right * edge[0] - down * edge[1], right * edge[2] - down * edge[3]  # across the rays
    if side0 == side1:
        return
    ahead0, ahead1 = down * edge[0] + right * edge[1], down * edge[2] + right * edge[3]
    reach = REACH * down
    low = min(edge[0], edge[2]) - max(reach, 0.0)
    high = max(edge[0], edge[2]) - min(reach, 0.0)
    for r in range(max(int(np.ceil(low)), band[0]), min(int(np.floor(high)) + 1, band[1])):
        # the cells of this row whose rays meet the edge: right * r - down * c lies between side0 and side1
        a, b = (right * r - side0) / down, (right * r - side1) / down
        c0, c1 = max(int(np.ceil(min(a, b))), 0), min(int(np.floor(max(a, b))), observer.shape[1] - 1)
        if c0 > c1:
            continue
        run, stop = last[r], starts[r + 1]
        while run > starts[r] and end[run - 1] > c0:
            run -= 1
        while run < stop and end[run] <= c0:
            run += 1
        last[r] = run
        for c in range(c0, c1 + 1):
            while run < stop and end[run] <= c:
                run += 1
            if run == stop or c < first[run]:
                continue
            part = (right * r - down * c - side0) / (side1 - side0)
            away = ahead0 + part * (ahead1 - ahead0) - down * r - right * c
            if away < _LEAST or away > REACH:
                continue
            top = edge[4] + part * (edge[5] - edge[4])
            tangent = np.float32((top - observer[r, c] - lift) / (away * cell_m) - drop * away * cell_m)
            at = offset[run] + c - first[run]
            if tangent > values[at]:
                values[at] = tangent
