"""Which part of a raster a screening reads: the parcels and the land round them."""

from __future__ import annotations

import re

import numpy as np
import pyproj
import shapely

from tunnelsite.core.errors import InputRefused, NoHeights
from tunnelsite.core.grid import horizontal, transformer, true_scale
from tunnelsite.core.layers import Features
from tunnelsite.core.reproject import lonlat_bounds
from tunnelsite.io.read.georeferencing import crs_words
from tunnelsite.io.read.raster_header import RasterHeader


def window_bounds(header: RasterHeader, land: Features, halo_m: float) -> tuple[float, float, float, float]:
    """The parcels and `halo_m` round them in the raster's coordinate system. Errors: InputRefused where they do not meet."""
    if header.crs.geodetic_crs is None:
        raise InputRefused(
            f"{header.option}: {header.path.name!r} lies in {header.crs.name!r}, a local coordinate system tied to no place on earth",
            "a system with a place on the earth: sun, north and the parcels need it",
            f"name the system that its numbers are in ({crs_words(header.option)}), or georeference it first",
        )
    lonlat_bounds(land)  # refuses parcels across the 180 degree meridian and coordinates that cannot be
    source, target = horizontal(land.crs), horizontal(header.crs)
    corners = shapely.get_coordinates(
        shapely.segmentize(shapely.box(*shapely.total_bounds(land.geometry)), _step(source, land))
    )
    east, north = transformer(source.to_wkt(), target.to_wkt()).transform(corners[:, 0], corners[:, 1])
    if not (np.isfinite(east).all() and np.isfinite(north).all()):
        raise InputRefused(
            f"parcels {land.name} cannot be carried to the coordinate system of {header.path.name}, {target.name}",
            "parcels that lie on the DEM",
            _fix(header, corners, source, target),
        )
    if target.is_geographic:
        widest = max(0.01, float(np.cos(np.radians(min(89.0, np.abs(north).max())))))
        margin = (halo_m / 111_000 / widest, halo_m / 110_000)
    else:
        unit_m = target.axis_info[0].unit_conversion_factor * true_scale(target, east.mean(), north.mean())
        margin = (1.02 * halo_m / unit_m,) * 2
    found = (east.min() - margin[0], north.min() - margin[1], east.max() + margin[0], north.max() + margin[1])
    own = header.bounds
    if found[0] >= own[2] or found[2] <= own[0] or found[1] >= own[3] or found[3] <= own[1]:
        spans = (east.min(), north.min(), east.max(), north.max())
        raise _apart(header, land, spans, _fix(header, corners, source, target))
    return found


def reaches(header: RasterHeader, land: Features, halo_m: float) -> bool:
    """Whether a raster meets the parcels and `halo_m` round them."""
    try:
        window_bounds(header, land, halo_m)
    except InputRefused:
        return False
    return True


def _fix(header: RasterHeader, corners: np.ndarray, source: pyproj.CRS, target: pyproj.CRS) -> str:
    """What to do about parcels that do not meet a raster: coordinates the other way round are the usual reason."""
    change = transformer(source.to_wkt(), target.to_wkt())
    west, south, east, north = header.bounds
    wide, high = east - west, north - south
    found_east, found_north = change.transform(corners[:, 1], corners[:, 0])
    near = (
        (west - wide <= found_east)
        & (found_east <= east + wide)
        & (south - high <= found_north)
        & (found_north <= north + high)
    )
    if not near.all():
        return "check that each file carries the right coordinate system"
    names = "latitude and longitude" if source.is_geographic else "easting and northing"
    first = "longitude" if source.is_geographic else "easting"
    return f"{names} of the parcels are swapped, as they would lie on it the other way round: export them with {first} first"


def _step(crs: pyproj.CRS, land: Features) -> float:
    west, south, east, north = shapely.total_bounds(land.geometry)
    return float(max(east - west, north - south, 1e-9) / 16)


def _apart(header: RasterHeader, land: Features, parcels: tuple[float, float, float, float], fix: str) -> InputRefused:
    own, crs = header.bounds, horizontal(header.crs)
    gap = np.hypot(max(parcels[0] - own[2], own[0] - parcels[2], 0), max(parcels[1] - own[3], own[1] - parcels[3], 0))
    unit = crs.axis_info[0].unit_name
    units = "deg" if crs.is_geographic else re.sub("foot$", "feet", re.sub("metre$", "metres", unit))
    show = (
        "{:.6g} to {:.6g} east, {:.6g} to {:.6g} north"
        if crs.is_geographic
        else "{:.0f} to {:.0f} east, {:.0f} to {:.0f} north"
    )
    return NoHeights(
        f"parcels {land.name} and {header.path.name} do not meet: in {crs.name} [{units}] the parcels span "
        f"{show.format(parcels[0], parcels[2], parcels[1], parcels[3])}, the DEM {show.format(own[0], own[2], own[1], own[3])}; "
        f"they are {f'{gap:.6g}' if crs.is_geographic else f'{gap:,.0f}'} {units} apart",
        "parcels that lie on the DEM",
        fix,
    )
