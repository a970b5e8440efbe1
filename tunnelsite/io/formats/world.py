"""Layers carried to longitude and latitude (WGS 84), as files for the whole world want them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pyproj
import shapely

from tunnelsite.core.errors import InputRefused
from tunnelsite.core.layers import Features
from tunnelsite.core.reproject import reprojected
from tunnelsite.core.table import Table

PLACES = 7  # decimals of a degree: 11 mm or less, as fine as the data are worth
_STEP = 10.0**-PLACES
WGS84 = "EPSG:4326"


@dataclass(frozen=True)
class WorldLayer:
    """One layer with its geometry in longitude and latitude.

    Attributes:
        name, title: of the layer. table: its columns. geometry: shapely geometries (None = none) in degrees, rounded to
            `PLACES`, valid, rings after the right-hand rule, cut at the antimeridian.
        notes: what is not known about the shift to WGS 84.
    """

    name: str
    title: str
    table: Table
    geometry: np.ndarray
    notes: tuple[str, ...]


def world_layer(name: str, table: Table, crs: pyproj.CRS) -> WorldLayer:
    """A layer in longitude and latitude.

    Arguments: name; table with geometry; crs of it. Errors: InputRefused where a coordinate has no place on earth.
    """
    given = np.empty(len(table), object)
    given[:] = table.shapes
    there = ~(shapely.is_missing(given) | shapely.is_empty(given))
    moved = reprojected(Features(given[there], {}, crs, name), pyproj.CRS(WGS84))
    if len(moved) and np.abs(shapely.bounds(moved.geometry)[:, [1, 3]]).max() > 90.0:
        raise InputRefused(f"layer {name} lies beyond a pole", f"coordinates in the area of {crs.name}", "screen again")
    shapes = np.full(len(given), None, object)
    shapes[there] = [_tidied(shape) for shape in moved.geometry]
    return WorldLayer(name, table.title, table, shapes, moved.notes)


def bounding_box(geometry: np.ndarray) -> list[float] | None:
    """[west, south, east, north] in degrees; west > east where it crosses the antimeridian (RFC 7946, 5.2)."""
    boxes = shapely.bounds(geometry)
    boxes = boxes[np.isfinite(boxes).all(axis=1)]
    if not len(boxes):
        return None
    south, north = float(boxes[:, 1].min()), float(boxes[:, 3].max())
    parts = shapely.bounds(shapely.get_parts(geometry[~shapely.is_missing(geometry)]))
    west, east = float(parts[:, 0].min()), float(parts[:, 2].max())
    if east - west > 180.0:  # nothing here is half the world wide: it lies on both sides of 180
        west = float(parts[parts[:, 0] > 0, 0].min())
        east = float(parts[parts[:, 2] < 0, 2].max())
    return [round(value, PLACES) for value in (west, south, east, north)]


def position(lon_deg: float, lat_deg: float, places: int = PLACES) -> list[float]:
    """Longitude and latitude, rounded, without a negative zero."""
    return [round(float(lon_deg), places) + 0.0, round(float(lat_deg), places) + 0.0]


def middle(shape: shapely.Geometry) -> shapely.Point:
    """Centroid of the largest part: of a footprint cut at the antimeridian too, it lies inside."""
    parts = shapely.get_parts(shape)
    return max(parts, key=lambda part: (part.area, part.length)).centroid


def _tidied(shape: shapely.Geometry) -> shapely.Geometry:
    cut = _cut_at_antimeridian(shape)
    try:
        rounded = shapely.set_precision(cut, _STEP)
    except shapely.errors.GEOSException:  # not valid to begin with: handed on as it is
        rounded = shapely.set_precision(cut, _STEP, mode="pointwise")
    if rounded.is_empty:  # finer than the last decimal: a place is better than nothing
        rounded = shapely.set_precision(cut, _STEP, mode="pointwise")
    return shapely.orient_polygons(rounded) if rounded.geom_type.endswith("Polygon") else rounded


def _cut_at_antimeridian(shape: shapely.Geometry) -> shapely.Geometry:
    """Parts on either side of 180 degrees (RFC 7946, 3.1.9), longitudes from -180 to 180."""
    west, _, east, _ = shape.bounds
    if west >= -180.0 and east <= 180.0:
        return shape
    parts = []
    for turn in (-360.0, 0.0, 360.0):
        part = shapely.transform(shape, lambda lonlat, turn=turn: lonlat + np.array([turn, 0.0]))
        part = shapely.intersection(part, shapely.box(-180.0, -90.0, 180.0, 90.0))
        parts += [
            one for one in shapely.get_parts(part) if shapely.get_dimensions(one) == shapely.get_dimensions(shape)
        ]
    kinds = {"Polygon": shapely.multipolygons, "LineString": shapely.multilinestrings, "Point": shapely.multipoints}
    return parts[0] if len(parts) == 1 else kinds[parts[0].geom_type](parts)
