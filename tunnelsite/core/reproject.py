"""Features carried from their own coordinate system to a grid's along/across metres."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pyproj
import shapely

from tunnelsite.core.errors import InputRefused
from tunnelsite.core.grid import Grid, geographic_wkt, horizontal, transformer
from tunnelsite.core.layers import Features

# A straight edge of 200 m bends by at most L^2/(8R) = 0.8 mm between two map projections of a farm.
LONGEST_EDGE_M = 200.0


def to_grid(features: Features, grid: Grid) -> Features:
    """The features in along/across metres of `grid`; long edges are divided first so that they stay where they were.

    Errors: InputRefused if a coordinate cannot be carried over.
    """
    geometry = _divided(features)
    change = transformer(horizontal(features.crs).to_wkt(), grid.crs_wkt)

    def carried(points: np.ndarray) -> np.ndarray:
        return np.column_stack(grid.from_map(*change.transform(points[:, 0], points[:, 1])))

    moved = shapely.transform(geometry, carried)
    if not np.isfinite(shapely.get_coordinates(moved)).all():
        raise InputRefused(
            f"{features.name} has coordinates that cannot be carried to the local grid",
            f"coordinates inside the area of {features.crs.name}",
            "check the file's coordinate system",
        )
    return replace(features, geometry=moved, crs=grid.crs)


def from_grid(geometry: np.ndarray, grid: Grid, target: pyproj.CRS) -> np.ndarray:
    """Geometries in along/across metres carried to `target`."""
    change = transformer(grid.crs_wkt, horizontal(target).to_wkt())

    def carried(points: np.ndarray) -> np.ndarray:
        return np.column_stack(change.transform(*grid.to_map(points[:, 0], points[:, 1])))

    return shapely.transform(geometry, carried)


def lonlat_bounds(features: Features) -> tuple[float, float, float, float]:
    """(west, south, east, north) [deg] on the features' own datum."""
    crs = horizontal(features.crs)
    west, south, east, north = shapely.total_bounds(features.geometry)
    if not crs.is_geographic:
        change = transformer(crs.to_wkt(), geographic_wkt(crs.to_wkt()))
        west, south, east, north = change.transform_bounds(west, south, east, north, densify_pts=21)
    if not np.isfinite([west, south, east, north]).all() or not (-90 <= south <= north <= 90):
        raise InputRefused(
            f"{features.name} reaches from {west:g}, {south:g} to {east:g}, {north:g}",
            f"coordinates inside the area of {crs.name}",
            "check the file's coordinate system",
        )
    if east < west or east - west > 180:
        raise InputRefused(
            f"{features.name} reaches across the 180 degree meridian",
            "parcels on one side of it",
            "split the file at the meridian, or use a projected coordinate system there",
        )
    return west, south, east, north


def _divided(features: Features) -> np.ndarray:
    crs = horizontal(features.crs)
    longest = LONGEST_EDGE_M / (111_000.0 if crs.is_geographic else crs.axis_info[0].unit_conversion_factor)
    return shapely.segmentize(shapely.force_2d(features.geometry), longest)
