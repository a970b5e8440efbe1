"""Cell centres whose rectangle is not clear of lines or of another footprint.

A rectangle centred on a cell centre meets a shape exactly when, on that row, the part of the shape within
half a width
north and south comes within half a length east or west. So every row is a handful of column ranges, whatever
the size
of the rectangle. Touching is allowed: both tests are strict, by TOLERANCE_M.
"""

from typing import NamedTuple

import numpy as np

from tunnelsite.kernels.compiled import njit
from tunnelsite.kernels.options import INNER, PLAIN
from tunnelsite.kernels.shared import shared_singly

TOLERANCE_M = 1e-9
_BAND_ROWS = 64


class Lattice(NamedTuple):
    """Where the cell centres are: outer north-west corner of the array [m], side of a cell [m], rows and
    columns."""

    west_m: float
    north_m: float
    cell_m: float
    rows: int
    cols: int


def blocked_centres(
    segments: np.ndarray,
    half_length_m: float,
    half_width_m: float,
    lattice: Lattice,
    rows: tuple[int, int] | None = None,
) -> np.ndarray:
    """Return which cell centres have a rectangle whose inside meets a segment, bool [rows wanted, columns].

    segments: float64 [n, 4], east and north of both ends [m]; upright, level and zero-length ones are
    welcome.
    half_length_m, half_width_m: half the rectangle east-west and north-south [m].
    rows: first and past-the-last row wanted (all); changes no bit of the result.
    A placement whose centre lies inside a polygon and that no edge of it blocks lies wholly within it.
    Raises ValueError for segments of another shape or not finite, or sizes that are not positive.
    """
    segments = np.ascontiguousarray(segments, np.float64)
    if segments.ndim != 2 or segments.shape[1] != 4 or not np.isfinite(segments).all():
        raise ValueError(f"segments of shape {segments.shape} must be finite [n, 4]: east, north of both ends")
    _check(half_length_m, half_width_m, lattice)
    half = (half_length_m - TOLERANCE_M, half_width_m - TOLERANCE_M)
    first, last = _rows_met(
        np.minimum(segments[:, 1], segments[:, 3]), np.maximum(segments[:, 1], segments[:, 3]), half, lattice
    )
    top, bottom = (0, lattice.rows) if rows is None else rows
    first, last = np.clip(first - top, 0, bottom - top), np.clip(last - top, 0, bottom - top)
    order, starts = _by_band(first, last, (bottom - top + _BAND_ROWS - 1) // _BAND_ROWS)
    blocked = np.zeros((bottom - top, lattice.cols), np.bool_)
    rest = (segments, (first, last, order, starts), half, tuple(lattice), top, blocked)
    _mark_band(len(starts) - 1, *rest)
    return blocked


def overlapping_centres(corners: np.ndarray, half_length_m: float, half_width_m: float, lattice: Lattice) -> np.ndarray:
    """Return the centres whose rectangle overlaps a convex polygon, as int64 [n, 3]: row, first and
    past-the-last column.

    corners: float64 [k, 2], east and north of the polygon's corners in order [m]; a closing corner may be
    repeated.
    half_length_m, half_width_m: half the rectangle east-west and north-south [m]. Rows without any are left
    out.
    Touching is not overlapping. Raises ValueError for fewer than three corners or values that are not finite.
    """
    corners = np.ascontiguousarray(corners, np.float64)
    if corners.ndim != 2 or corners.shape[1] != 2 or len(corners) < 3 or not np.isfinite(corners).all():
        raise ValueError(f"corners of shape {corners.shape} must be finite [k >= 3, 2]: east, north")
    _check(half_length_m, half_width_m, lattice)
    half = (half_length_m - TOLERANCE_M, half_width_m - TOLERANCE_M)
    low, high = corners[:, 1].min(keepdims=True), corners[:, 1].max(keepdims=True)
    first, last = _rows_met(low, high, half, lattice)
    edges = np.hstack([corners, np.roll(corners, -1, axis=0)])
    return _overlap_spans(edges, (first[0], last[0]), half, tuple(lattice))


def _check(half_length_m: float, half_width_m: float, lattice: Lattice) -> None:
    """Raise ValueError for sizes that are not positive."""
    if not (half_length_m > TOLERANCE_M and half_width_m > TOLERANCE_M and lattice.cell_m > 0.0):
        raise ValueError(f"half sizes {half_length_m}, {half_width_m} m and cell {lattice.cell_m} m must be positive")


def _rows_met(south, north, half, lattice: Lattice) -> tuple[np.ndarray, np.ndarray]:
    """Return first and past-the-last row whose band can meet each range of northings (one row to spare
    either end)."""
    first = np.floor((lattice.north_m - north - half[1]) / lattice.cell_m - 0.5)
    last = np.ceil((lattice.north_m - south + half[1]) / lattice.cell_m - 0.5) + 1
    return np.clip(first, 0, lattice.rows).astype(np.int64), np.clip(last, 0, lattice.rows).astype(np.int64)


@njit(**PLAIN)
def _by_band(first, last, bands):
    """Return segment numbers grouped by band of rows, and where each band starts (a segment may be in
    several)."""
    starts = np.zeros(bands + 1, np.int64)
    for k in range(first.size):
        if last[k] > first[k]:
            for band in range(first[k] // _BAND_ROWS, (last[k] - 1) // _BAND_ROWS + 1):
                starts[band + 1] += 1
    place = np.zeros(bands + 1, np.int64)
    for band in range(1, bands + 1):
        starts[band] += starts[band - 1]
        place[band] = starts[band]
    order = np.empty(starts[bands], np.int64)
    for k in range(first.size):
        if last[k] > first[k]:
            for band in range(first[k] // _BAND_ROWS, (last[k] - 1) // _BAND_ROWS + 1):
                order[place[band]] = k
                place[band] += 1
    return order, starts


@njit(**INNER)
def _eastings_in_band(edge, northing, half_width):
    """Return the range of eastings of a segment strictly within half a width of a northing (empty: low >
    high)."""
    e0, n0, e1, n1 = edge[0], edge[1] - northing, edge[2], edge[3] - northing
    if (n0 >= half_width and n1 >= half_width) or (n0 <= -half_width and n1 <= -half_width):
        return np.inf, -np.inf
    rise = n1 - n0
    a, b = e0, e1
    if abs(n0) > half_width:
        a = e0 + (e1 - e0) * ((half_width if n0 > 0.0 else -half_width) - n0) / rise
    if abs(n1) > half_width:
        b = e1 + (e0 - e1) * (n1 - (half_width if n1 > 0.0 else -half_width)) / rise
    return min(a, b), max(a, b)


@njit(**INNER)
def _columns_within(low, high, half_length, lattice):
    """Return first and past-the-last column whose centre is strictly within half a length of the range."""
    west, cell, cols = lattice[0], lattice[2], lattice[4]
    start = np.floor(min(max((low - half_length - west) / cell - 0.5, -1.0), np.float64(cols))) + 1.0
    stop = np.ceil(min(max((high + half_length - west) / cell - 0.5, 0.0), np.float64(cols)))
    return np.int64(start), np.int64(stop)


@shared_singly
def _mark_band(band, segments, bands, half, lattice, first_row, blocked):
    """Mark the blocked columns of one band of rows: count ranges opened and closed, then add up."""
    first, last, order, starts = bands
    rows, cols = blocked.shape
    if starts[band] == starts[band + 1]:
        return
    top, bottom = band * _BAND_ROWS, min((band + 1) * _BAND_ROWS, rows)
    opened = np.zeros((bottom - top, cols + 1), np.int32)
    for k in order[starts[band] : starts[band + 1]]:
        for r in range(max(first[k], top), min(last[k], bottom)):
            northing = lattice[1] - (r + first_row + 0.5) * lattice[2]
            low, high = _eastings_in_band(segments[k], northing, half[1])
            if low > high:
                continue
            start, stop = _columns_within(low, high, half[0], lattice)
            if start < stop:
                opened[r - top, start] += 1
                opened[r - top, stop] -= 1
    for r in range(top, bottom):
        depth = 0
        for c in range(cols):
            depth += opened[r - top, c]
            blocked[r, c] = depth > 0


@njit(**PLAIN)
def _overlap_spans(edges, rows, half, lattice):
    """Return row, first and past-the-last column of every row of overlapping centres."""
    spans = np.empty((max(rows[1] - rows[0], 0), 3), np.int64)
    count = 0
    for r in range(rows[0], rows[1]):
        northing = lattice[1] - (r + 0.5) * lattice[2]
        low, high = np.inf, -np.inf
        for k in range(edges.shape[0]):
            a, b = _eastings_in_band(edges[k], northing, half[1])
            low, high = min(low, a), max(high, b)
        if low > high:
            continue
        start, stop = _columns_within(low, high, half[0], lattice)
        if start < stop:
            spans[count, 0], spans[count, 1], spans[count, 2] = r, start, stop
            count += 1
    return spans[:count].copy()
