"""Features carried to another coordinate system, with straight edges kept straight enough."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pyproj
import shapely
from pyproj.exceptions import ProjError

from tunnelsite.core.errors import InputRefused
from tunnelsite.core.grid import Grid, geographic_wkt, horizontal, transformer
from tunnelsite.core.layers import Features

STRAIGHT_M = 0.005  # an edge that bends more than this in the target gets vertices until it does not
_SHORT_M = 50.0  # below it no usual projection bends an edge by a tenth of that
_DEGREE_M = 111_320.0
_SHARES = (0.25, 0.5, 0.75)  # an edge may bend like an S, so its middle alone would not tell
_DOUBT_M = 1.0  # accuracy of a datum shift worth a word
WGS84 = "EPSG:4326"


def reprojected(features: Features, target_crs: pyproj.CRS) -> Features:
    """The features in another coordinate system.

    Straight edges of the source stay within `STRAIGHT_M` of their true course in the target: long ones get
    more vertices first.

    Arguments: features, with a coordinate system; target_crs.
    Errors: InputRefused where a coordinate has no place in the target.
    """
    source, target = horizontal(features.crs), horizontal(target_crs)
    if source.equals(target, ignore_axis_order=True) or not len(features):
        return replace(features, crs=target_crs)
    change = _change(source, target, features.name)

    def carried(points: np.ndarray) -> np.ndarray:
        return np.column_stack(change.transform(points[:, 0], points[:, 1]))

    dense = _densified(features.geometry, carried, (_unit_m(source), _unit_m(target)))
    geometry = shapely.transform(dense, carried)
    _check_finite(geometry, features, target)
    if target.is_geographic:
        geometry = unwrapped(geometry)
    broken = ~shapely.is_valid(geometry) & shapely.is_valid(features.geometry)
    if broken.any():
        raise InputRefused(
            f"{features.name!r} cannot be carried to {target.name!r}: {int(broken.sum())} features fold over",
            "features near the place",
            "check its coordinate system",
        )  # fmt: skip
    return replace(
        features, geometry=geometry, crs=target_crs, notes=(*features.notes, *_doubt(change, source, target))
    )


def to_grid(features: Features, grid: Grid) -> Features:
    """The features in along/across metres of `grid`. Errors: InputRefused if a coordinate cannot be carried over."""
    moved = reprojected(features, grid.crs)

    def turned(points: np.ndarray) -> np.ndarray:
        return np.column_stack(grid.from_map(points[:, 0], points[:, 1]))

    return replace(moved, geometry=shapely.transform(moved.geometry, turned))


def from_grid(geometry: np.ndarray, grid: Grid, target: pyproj.CRS) -> np.ndarray:
    """Geometries in along/across metres carried to `target`."""
    change = transformer(grid.crs_wkt, horizontal(target).to_wkt())

    def carried(points: np.ndarray) -> np.ndarray:
        return np.column_stack(change.transform(*grid.to_map(points[:, 0], points[:, 1])))

    return np.asarray(shapely.transform(geometry, carried))


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


def unwrapped(geometry: np.ndarray) -> np.ndarray:
    """Longitudes moved into 0 to 360 degrees for features that otherwise seem to reach round the world."""
    boxes = shapely.bounds(geometry)
    broken = np.flatnonzero(boxes[:, 2] - boxes[:, 0] > 180.0)
    if not len(broken):
        return geometry
    moved = shapely.transform(geometry[broken], lambda lonlat: np.where([True, False], lonlat % 360.0, lonlat))
    boxes = shapely.bounds(moved)
    result = geometry.copy()
    helped = boxes[:, 2] - boxes[:, 0] <= 180.0
    result[broken[helped]] = moved[helped]
    return result


def centre_lonlat(features: Features) -> tuple[float, float]:
    """Longitude and latitude [deg, on the features' own datum] of the middle of all features, right across
    the antimeridian too."""
    source = horizontal(features.crs)
    if source.geodetic_crs is None:
        raise InputRefused(
            f"{features.name!r}: the coordinate system {source.name!r} has no link to longitude and latitude",
            "a geographic or projected coordinate system",
            "assign the right one; sun and true north cannot be found without it",
        )
    points = shapely.get_coordinates(features.geometry)
    lon, lat = transformer(source.to_wkt(), source.geodetic_crs.to_wkt()).transform(points[:, 0], points[:, 1])
    if not len(points) or not (np.isfinite(lon).all() and np.isfinite(lat).all()):
        raise InputRefused(
            f"{features.name!r} has no place on earth in {source.name!r}",
            "coordinates in its area of use",
            "check it",
        )
    away = (lon - lon[0] + 180.0) % 360.0 - 180.0  # from the first point, the short way round
    middle = lon[0] + (away.min() + away.max()) / 2
    return float((middle + 180.0) % 360.0 - 180.0), float((lat.min() + lat.max()) / 2)


def _change(source: pyproj.CRS, target: pyproj.CRS, name: str) -> pyproj.Transformer:
    try:
        return transformer(source.to_wkt(), target.to_wkt())
    except ProjError:
        raise InputRefused(
            f"{name!r} cannot be carried from {source.name!r} to {target.name!r}: nothing links them",
            "two coordinate systems of the same body with a link to the earth",
            "assign the right coordinate system",
        ) from None


def _densified(
    geometry: np.ndarray, carried: Callable[[np.ndarray], np.ndarray], units_m: tuple[float, float]
) -> np.ndarray:
    """Geometry with vertices added where straight edges would bend; `units_m`: metres in a unit of source
    and target."""
    start, end, owner = _edges(geometry)
    length = np.hypot(*(end - start).T)
    long = length * units_m[0] > _SHORT_M
    if not long.any():
        return geometry
    start, end, owner, length = start[long], end[long], owner[long], length[long]
    there_start, there_end = carried(start), carried(end)
    bend = np.zeros(len(start))
    for share in _SHARES:
        off = carried(start + (end - start) * share) - (there_start + (there_end - there_start) * share)
        bend = np.maximum(bend, np.hypot(*off.T))
    tolerance = STRAIGHT_M / units_m[1]
    bent = np.isfinite(bend) & (bend > tolerance)
    if not bent.any():
        return geometry
    step = np.full(len(geometry), np.inf)
    # the bend grows with the square of the length; half of that step leaves room for where it grows faster
    np.minimum.at(step, owner[bent], 0.5 * length[bent] * np.sqrt(tolerance / bend[bent]))
    result, chosen = geometry.copy(), np.isfinite(step)
    result[chosen] = shapely.segmentize(geometry[chosen], step[chosen])
    return result


def _edges(geometry: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(start [n, 2], end [n, 2], index of the feature [n]) of every edge of lines and of rings."""
    owners = np.arange(len(geometry))
    areal = shapely.get_dimensions(geometry) == 2
    lines = geometry.copy()
    lines[areal] = shapely.boundary(geometry[areal])
    parts, of = shapely.get_parts(lines, return_index=True)
    points, part = shapely.get_coordinates(parts, return_index=True)
    same = part[1:] == part[:-1]
    return points[:-1][same], points[1:][same], owners[of[part[1:][same]]]


def _unit_m(crs: pyproj.CRS) -> float:
    """Metres in one unit of the coordinates; along a meridian for degrees."""
    axis = crs.axis_info[0]
    return _DEGREE_M * np.degrees(axis.unit_conversion_factor) if crs.is_geographic else axis.unit_conversion_factor


def _check_finite(geometry: np.ndarray, features: Features, target: pyproj.CRS) -> None:
    points, owner = shapely.get_coordinates(geometry, return_index=True)
    good = np.isfinite(points).all(axis=1)
    if not good.all():
        lost = np.unique(owner[~good])
        raise InputRefused(
            f"{features.name!r}: {len(lost)} features have no place in {target.name!r} (first: {lost[0]})",
            "coordinates in the area where both coordinate systems hold",
            "check that the file states the coordinate system it is really in",
        )


def to_wgs84(grid: Grid, along_m: Any, across_m: Any) -> tuple[np.ndarray, np.ndarray]:
    """Longitude and latitude [deg] (WGS 84) of points given along and across [m]; on the data's own datum where PROJ knows no way
    from that to WGS 84, which `wgs84_doubt` says."""
    lon, lat = transformer(grid.crs_wkt, WGS84).transform(*grid.to_map(np.asarray(along_m), np.asarray(across_m)))
    return (lon, lat) if np.isfinite(lon).all() else grid.lonlat(along_m, across_m)


def wgs84_doubt(grid: Grid) -> str | None:
    """How far longitudes and latitudes of `to_wgs84` may be off, in words, where that is more than a metre or not known."""
    change, target = transformer(grid.crs_wkt, WGS84), pyproj.CRS(WGS84)
    middle = change.transform(
        *grid.to_map((grid.bounds[0] + grid.bounds[2]) / 2, (grid.bounds[1] + grid.bounds[3]) / 2)
    )
    if not np.isfinite(middle).all():
        own = grid.crs.geodetic_crs or grid.crs
        return f"longitudes and latitudes are on the datum {own.name!r}: no way from it to WGS 84 is known here"
    found = _doubt(change, grid.crs, target)
    return f"longitudes and latitudes: {found[0]}" if found else None


def _doubt(change: pyproj.Transformer, source: pyproj.CRS, target: pyproj.CRS) -> tuple[str, ...]:
    here, there = source.geodetic_crs, target.geodetic_crs
    if here is None or there is None or here.equals(there, ignore_axis_order=True):
        return ()
    accuracy = _accuracy_m(change)
    if 0 <= accuracy <= _DOUBT_M:
        return ()
    known = f"known to about {accuracy:g} m" if accuracy >= 0 else "not known here and taken as none: it may be metres"
    return (f"the shift from the datum {here.name!r} to {there.name!r} is {known}",)


def _accuracy_m(change: pyproj.Transformer) -> float:
    """Accuracy [m] that PROJ states for the way it went last; negative where it states none."""
    if change.accuracy >= 0:
        return float(change.accuracy)
    try:
        return float(change.get_last_used_operation().accuracy)  # several ways are open: it chose by place
    except ProjError:
        return -1.0
