"""Land in place of parcels: a circle round a place, or all that the elevation model covers."""

from __future__ import annotations

import hashlib

import numpy as np
import pyproj
import shapely

from tunnelsite.core.grid import transformer
from tunnelsite.core.layers import Features
from tunnelsite.io.read.mosaic import has_tiles, mosaic
from tunnelsite.io.read.raster_header import RasterHeader, raster_header
from tunnelsite.settings.circle import circle
from tunnelsite.settings.model import Settings

CORNERS = 180  # a polygon of as many lies within 0.02 % of the circle


def land_instead(settings: Settings) -> Features | None:
    """The land that settings name in place of parcels, in the elevation model's own system; None where they name none.

    Errors: as `raster_header`.
    """
    if settings.around is None and not settings.whole:
        return None
    path = str(settings.dem)
    header = (
        mosaic(path, "DEM", crs=settings.dem_crs).whole
        if has_tiles(path)
        else raster_header(path, "DEM", settings.dem_crs)
    )
    if settings.around is None:
        return _features(
            _outline(header), header.crs, "whole", "all of the elevation model", "the whole DEM stands for the parcels"
        )
    at = circle(settings.around)
    azimuth = np.linspace(0.0, 360.0, CORNERS, endpoint=False)
    lon, lat, _ = pyproj.Geod(ellps="WGS84").fwd(
        np.full(CORNERS, at.lon_deg), np.full(CORNERS, at.lat_deg), azimuth, np.full(CORNERS, at.radius_m)
    )
    ring = np.column_stack(transformer("EPSG:4326", header.crs.to_wkt()).transform(lon, lat))
    words = f"a circle of {at.radius_m:g} m round {at.lat_deg:.6f}, {at.lon_deg:.6f} stands for the parcels"
    return _features(shapely.Polygon(ring), header.crs, "around", "circle", words)


def _outline(header: RasterHeader) -> shapely.Polygon:
    a, b, c, d, e, f = header.affine
    corners = [(0, 0), (header.cols, 0), (header.cols, header.rows), (0, header.rows)]
    return shapely.Polygon([(a * col + b * row + c, d * col + e * row + f) for col, row in corners])


def _features(outline: shapely.Polygon, crs: pyproj.CRS, name: str, parcel: str, words: str) -> Features:
    geometry = np.array([outline], dtype=object)
    digest = hashlib.sha256(shapely.to_wkb(outline) + crs.to_wkt().encode()).hexdigest()
    columns = {"feature_id": np.array([1]), "name": np.array([parcel], dtype=object)}
    return Features(geometry, columns, crs, name, digest, (words,))
