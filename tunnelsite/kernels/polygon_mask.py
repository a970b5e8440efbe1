"""Which cell centres lie inside a polygon."""

from __future__ import annotations

import numpy as np

from tunnelsite.kernels.compiled import njit
from tunnelsite.kernels.options import PLAIN


@njit(**PLAIN)
def _toggle(segments, west, north, cell, top, toggles):
    rows, cols = toggles.shape
    for k in range(segments.shape[0]):
        e0, n0, e1, n1 = segments[k, 0], segments[k, 1], segments[k, 2], segments[k, 3]
        if n0 == n1:
            continue  # a level edge is never crossed by a row of centres; its neighbours count the crossing
        if n0 > n1:
            e0, n0, e1, n1 = e1, n1, e0, n0
        # centres with n0 <= northing < n1: half-open, so that a vertex on a row is counted once
        first = int(np.ceil((north - n1) / cell - 0.5))
        if north - (first + 0.5) * cell >= n1:
            first += 1
        last = int(np.floor((north - n0) / cell - 0.5))
        for row in range(max(first, top), min(last, top + rows - 1) + 1):
            northing = north - (row + 0.5) * cell
            easting = e0 + (northing - n0) * (e1 - e0) / (n1 - n0)
            col = int(np.ceil((easting - west) / cell - 0.5))
            if col < cols:
                toggles[row - top, max(col, 0)] ^= 1


@njit(**PLAIN)
def _fill(toggles):
    for row in range(toggles.shape[0]):
        inside = False
        for col in range(toggles.shape[1]):
            inside ^= toggles[row, col] != 0
            toggles[row, col] = inside


def polygon_mask(
    segments: np.ndarray,
    west_m: float,
    north_m: float,
    cell_m: float,
    shape: tuple[int, int],
    rows: tuple[int, int] | None = None,
) -> np.ndarray:
    """True for every cell whose centre lies inside the closed rings, by the even-odd rule.

    Arguments:
        segments: float64 [n, 4], all edges (easting, northing, easting, northing) [m] of all rings; their order is free.
        west_m, north_m: outer corner of cell (0, 0) [m]. cell_m: cell side [m]. shape: (rows, cols).
        rows: first and past-the-last row wanted (all); changes no bit of the result.
    Return: bool [rows wanted, cols]. A centre exactly on an edge may fall on either side.
    Source: crossing parity (Shimrat 1962, CACM Algorithm 112), kept as one toggle a crossing and a running parity a row.
    """
    top, bottom = (0, shape[0]) if rows is None else rows
    toggles = np.zeros((bottom - top, shape[1]), np.uint8)
    _toggle(np.ascontiguousarray(segments, np.float64).reshape(-1, 4), west_m, north_m, cell_m, top, toggles)
    _fill(toggles)
    return toggles.view(bool)
