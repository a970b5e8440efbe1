"""The way in and the water: straight lines from a house to the nearest road and to the nearest water source, over the bare ground."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from tunnelsite.core.site import Frame
from tunnelsite.kernels.resample import bilinear_at

RUN_M = 10.0  # the steepest stretch of this length counts, about that of a truck; common practice, no source
ROADS = ("road", "access")  # services that a truck comes by
WATER = "water"


@dataclass(frozen=True)
class WayIn:
    """A straight line from the nearest road to the middle of the nearer end of a house.

    Attributes:
        length_m. mean_pct: slope from the road to the house, + climbs. steepest_pct: of the steepest 10 m, up or down; both NaN where
        the heights are not known all the way, or the line is shorter than a cell. east_end: whether that end is the one that the
        ridge points to.
    """

    length_m: float
    mean_pct: float
    steepest_pct: float
    east_end: bool


def heights_at(frame: Frame, along_m: np.ndarray, across_m: np.ndarray) -> np.ndarray:
    """Ground [m above the frame's datum] at places in along and across [m], float64 [n], bilinear; NaN off the data.

    On a window they are those of the whole frame: a road or a source may lie beyond it.
    """
    if frame.whole is not None:
        return heights_at(frame.whole, *frame.whole.grid.from_map(*frame.grid.to_map(along_m, across_m)))
    grid = frame.grid
    row = (grid.north_m - np.asarray(across_m, float)) / grid.cell_m - 0.5
    col = (np.asarray(along_m, float) - grid.west_m) / grid.cell_m - 0.5
    found: np.ndarray = bilinear_at(frame.ground, row, col)
    return found


def water_head_m(frame: Frame, house: shapely.Polygon, ground_m: float) -> float:
    """Height [m] of the ground at the water source nearest to the middle of a house above its mean ground, + = water runs to it by itself.

    Arguments: frame; house, its footprint in along and across [m]; ground_m, its mean ground above the datum. NaN where no source
    was given, or it lies off the data.
    """
    source = nearest_point(frame, [WATER], shapely.centroid(house))
    if source is None:
        return math.nan
    return float(heights_at(frame, *(np.array([value]) for value in source))[0]) - ground_m


def nearest_point(frame: Frame, services: Sequence[str], place: shapely.Geometry) -> tuple[float, float] | None:
    """Along and across [m] of the point of some services that is nearest to a place; None where they hold nothing."""
    parts = [frame.services[name].geometry for name in services if name in frame.services]
    known = np.concatenate(parts) if parts else np.empty(0, object)
    known = known[~(shapely.is_empty(known) | shapely.is_missing(known))]
    if not len(known):
        return None
    nearest = known[int(np.argmin(shapely.distance(known, place)))]
    point = shapely.get_point(shapely.shortest_line(nearest, place), 0)
    return float(shapely.get_x(point)), float(shapely.get_y(point))


def way_in(frame: Frame, house: shapely.Polygon) -> WayIn | None:
    """The way in of a house; None where no road was given. Arguments: frame; house, its footprint in along and across [m]."""
    west, south, east, north = shapely.bounds(house)
    across = (south + north) / 2
    found = []
    for east_end, along in ((True, east), (False, west)):
        road = nearest_point(frame, ROADS, shapely.Point(along, across))
        if road is not None:
            length = math.dist(road, (along, across))
            found.append((length, WayIn(length, *_slopes(frame, road, (along, across), length), east_end)))
    return min(found, key=lambda one: one[0])[1] if found else None


def _slopes(frame: Frame, road: tuple[float, float], door: tuple[float, float], length_m: float) -> tuple[float, float]:
    """(mean, steepest) slope [%] of a straight line from a road to a door."""
    if length_m < frame.grid.cell_m:
        return math.nan, math.nan
    steps = max(math.ceil(length_m / frame.grid.cell_m), math.ceil(length_m / RUN_M))
    share = np.linspace(0.0, 1.0, steps + 1)
    heights = heights_at(frame, *(start + share * (end - start) for start, end in zip(road, door, strict=True)))
    if np.isnan(heights).any():
        return math.nan, math.nan
    run = min(max(round(RUN_M * steps / length_m), 1), steps)
    rise = np.abs(heights[run:] - heights[:-run]).max()
    return (
        100 * float(heights[-1] - heights[0]) / length_m,
        100 * float(rise) / (run * length_m / steps),
    )
