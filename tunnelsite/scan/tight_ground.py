"""Tight places: no cell's centre lets the pad in, but another point of the cell does. The placement is nudged to that point.

The places where a pad's centre may lie are the room less the Minkowski sum of its edges with the pad (Lozano-Perez 1983, IEEE
Transactions on Computers C-32(2), 108-120): the hull of a pad at either end of each edge. Worked out as vectors, and for such
cells only.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from tunnelsite.core.grid import Grid
from tunnelsite.core.house import Pad
from tunnelsite.core.site import segments_of

if TYPE_CHECKING:
    from tunnelsite.scan.open_ground import Bar

FIT_M = 1e-3  # a pad fits where it is over by no more than this: rounding of coordinates, far below what a tape shows


@dataclass(frozen=True)
class Nudged:
    """Placements that are not in the middle of their cell.

    Attributes: index, int64 [n], row * cols + col, rising; along_m, across_m, float64 [n], where the house's centre is.
    """

    index: np.ndarray
    along_m: np.ndarray
    across_m: np.ndarray

    @classmethod
    def none(cls) -> Nudged:
        """Every placement is in the middle of its cell."""
        return cls(np.empty(0, np.int64), np.empty(0), np.empty(0))

    def centre(self, grid: Grid, index: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Along and across [m] of the house's centre, float64 like `index` (row * cols + col of its cell)."""
        index = np.asarray(index, np.int64)
        along, across = (np.array(values, np.float64) for values in grid.centre(*np.divmod(index, grid.cols)))
        if len(self.index):
            at = np.minimum(np.searchsorted(self.index, index), len(self.index) - 1)
            moved = self.index[at] == index
            along[moved], across[moved] = self.along_m[at][moved], self.across_m[at][moved]
        return along, across

    def where(self, index: np.ndarray) -> np.ndarray:
        """bool like `index`: which of the placements were nudged."""
        return np.isin(index, self.index)


def least_half_m(pad: Pad, cell_m: float, farthest_m: float) -> tuple[float, float]:
    """Half length and width [m] of what lies under the pad wherever in its cell the centre is: where even that is not clear, no
    point of the cell is. farthest_m: the largest distance by which anything was widened (by at most 0.05 % too much)."""
    spare = cell_m / 2 + 2 * FIT_M + 5e-4 * farthest_m
    return max(pad.length_m / 2 - spare, FIT_M), max(pad.width_m / 2 - spare, FIT_M)


def clear_points(
    boxes: np.ndarray, land: shapely.Geometry, setback_m: float, pad: Pad, barred: list[Bar]
) -> tuple[np.ndarray, np.ndarray]:
    """A point of each cell at which the pad lies within the land and clear of every bar, to a millimetre.

    Arguments: boxes, polygons [n], the cells; land, a parcel; setback_m [m] inward from its boundary; pad; barred.
    Return: (which cells have one, bool [n]; along and across [m] of a point in the middle of what is clear, float64 [found, 2]).
    """
    half = (pad.length_m / 2 - FIT_M / 2, pad.width_m / 2 - FIT_M / 2)
    near = _grown(shapely.total_bounds(boxes), max(half))
    room = land if setback_m <= 0 else shapely.buffer(land, -setback_m, quad_segs=_quarter_segments(setback_m))
    shut = [_swept(room, half, near)]
    for bar in barred:
        shapes = _close(bar, near)
        shut += [_swept(shapes, half, near), shapes[shapely.get_dimensions(shapes) == 2]]
    shapes = np.concatenate(shut)
    shapes = shapes[np.unique(shapely.STRtree(shapes).query(boxes, predicate="intersects")[1])]
    clear = shapely.difference(shapely.intersection(shapely.union_all(boxes), room), shapely.union_all(shapes))
    pieces = shapely.intersection(boxes, clear)
    found = shapely.area(pieces) > 0
    return found, shapely.get_coordinates(shapely.point_on_surface(pieces[found]))


def _quarter_segments(distance_m: float) -> int:
    """Chords of a quarter circle so fine that they are nowhere more than a quarter of FIT_M off it."""
    return max(8, math.ceil(math.pi * math.sqrt(distance_m / (8 * FIT_M))))


def _grown(bounds: np.ndarray, by_m: float) -> np.ndarray:
    found: np.ndarray = bounds + np.array([-by_m, -by_m, by_m, by_m])
    return found


def _close(bar: Bar, near: np.ndarray) -> np.ndarray:
    """The shapes of a bar that matter inside `near`, each widened by the bar's distance, finely."""
    shapes = bar.source[shapely.intersects(bar.source, shapely.box(*_grown(near, bar.distance_m)))]
    if bar.distance_m <= 0:
        parts: np.ndarray = shapely.get_parts(shapes)
    else:
        wide = shapely.buffer(shapes, bar.distance_m, quad_segs=_quarter_segments(bar.distance_m))
        parts = shapely.get_parts(wide)
    return parts


def _swept(shapes: np.ndarray, half: tuple[float, float], near: np.ndarray) -> np.ndarray:
    """Where the centre of a rectangle may not be for each edge of the shapes: the hull of one at either end."""
    edges = segments_of(shapes)
    low, high = np.minimum(edges[:, :2], edges[:, 2:]), np.maximum(edges[:, :2], edges[:, 2:])
    edges = edges[((low <= near[2:]) & (high >= near[:2])).all(axis=1)]
    corners = np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)]) * half
    ends = edges.reshape(-1, 2, 1, 2) + corners
    found: np.ndarray = shapely.convex_hull(shapely.linestrings(ends.reshape(-1, 8, 2)))
    return found
