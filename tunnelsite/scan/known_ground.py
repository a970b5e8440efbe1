"""How much of a parcel the elevation model shows, and whether a house might stand on the rest."""

from __future__ import annotations

import math

import numpy as np
import shapely

from tunnelsite.core.site import Frame, segments_of
from tunnelsite.kernels.polygon_mask import polygon_mask
from tunnelsite.scan.engine import Scan
from tunnelsite.scan.losses import NO_DATA


def known_share(frame: Frame, parcel: shapely.Geometry) -> float:
    """Share of a parcel's cells that have a height, 0 to 1; a parcel that holds no cell's centre counts as the cell it lies in.

    Arguments: frame; parcel, in its coordinates, on its grid or beyond it.
    """
    grid = frame.grid
    west, south, east, north = shapely.bounds(parcel)
    top, bottom = (math.floor((grid.north_m - edge) / grid.cell_m) for edge in (north, south))
    left, right = (math.floor((edge - grid.west_m) / grid.cell_m) for edge in (west, east))
    rows, cols = bottom + 1 - top, right + 1 - left
    origin = grid.west_m + left * grid.cell_m, grid.north_m - top * grid.cell_m
    inside = polygon_mask(segments_of(parcel), *origin, grid.cell_m, (rows, cols))
    if not inside.any():
        spot = shapely.point_on_surface(parcel)
        row, col = int((origin[1] - spot.y) / grid.cell_m), int((spot.x - origin[0]) / grid.cell_m)
        inside[min(row, rows - 1), min(col, cols - 1)] = True
    held = frame.ground[max(top, 0) : max(top + rows, 0), max(left, 0) : max(left + cols, 0)]
    there = inside[max(-top, 0) :, max(-left, 0) :][: held.shape[0], : held.shape[1]]
    return int(np.count_nonzero(there & np.isfinite(held))) / int(np.count_nonzero(inside))


def may_hold_more(scan: Scan, parcel: int, setback_m: float) -> bool:
    """Whether a house might stand on ground of a parcel whose heights are not known, so that finding no place says nothing of all of it.

    It might where a pad on open ground was rejected for want of heights, or fits into what reaches beyond the grid. Slivers and holes
    that no pad within the setback touches, and those under what is kept clear of, change nothing.

    Arguments: scan; parcel, its number; setback_m, inward from the parcel's boundary [m].
    """
    if scan.tallies[NO_DATA][parcel].rejected:
        return True
    half = np.array([scan.pad.length_m, scan.pad.width_m] * 2) / 2 + setback_m
    bounds, grid = shapely.bounds(scan.frame.parcels[parcel]), np.array(scan.frame.grid.bounds)
    centres = bounds + half * np.array([1, 1, -1, -1])  # where a pad's centre may lie at all
    if (centres[:2] > centres[2:]).any():
        return False
    return bool((centres[:2] < grid[:2]).any() or (centres[2:] > grid[2:]).any())
