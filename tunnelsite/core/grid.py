"""The local grid: a transverse Mercator centred on the farm, so that grid east is true east; metres; square cells."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from typing import Any

import numpy as np
import pyproj
from pyproj.crs import GeographicCRS, ProjectedCRS
from pyproj.crs.coordinate_operation import TransverseMercatorConversion
from pyproj.exceptions import ProjError

from tunnelsite.core.errors import InputRefused


@dataclass(frozen=True)
class Grid:
    """A small immutable value: where the cells of the working rasters lie.

    Columns run along the ridge, rows across it. `along` and `across` are metres from the origin of the local
    projection, turned with the ridge: for a bearing of 90 they are easting and northing.

    Attributes:
        crs_wkt: the local transverse Mercator.
        cell_m: cell side [m].
        rows, cols: shape.
        west_m, north_m: outer corner of the first cell in along/across [m].
        bearing_deg: direction of the columns, clockwise from true north at the origin.
    """

    crs_wkt: str
    cell_m: float
    rows: int
    cols: int
    west_m: float
    north_m: float
    bearing_deg: float = 90.0

    @property
    def shape(self) -> tuple[int, int]:
        """(rows, cols)."""
        return self.rows, self.cols

    @cached_property
    def crs(self) -> pyproj.CRS:
        """The local projection."""
        return pyproj.CRS.from_wkt(self.crs_wkt)

    @property
    def turn(self) -> tuple[float, float]:
        """(sine, cosine) of the bearing, which carry along/across to easting/northing; exact for 90."""
        if self.bearing_deg == 90.0:
            return 1.0, 0.0
        angle = math.radians(self.bearing_deg)
        return math.sin(angle), math.cos(angle)

    def to_map(self, along_m: Any, across_m: Any) -> tuple[Any, Any]:
        """Easting and northing [m] in the local projection of points given along and across the ridge [m]."""
        sine, cosine = self.turn
        return along_m * sine - across_m * cosine, along_m * cosine + across_m * sine

    def from_map(self, easting_m: Any, northing_m: Any) -> tuple[Any, Any]:
        """Along and across [m] of points given in the local projection [m]."""
        sine, cosine = self.turn
        return easting_m * sine + northing_m * cosine, northing_m * sine - easting_m * cosine

    def centre(self, row: Any, col: Any) -> tuple[Any, Any]:
        """Along and across [m] of cell centres."""
        return self.west_m + (col + 0.5) * self.cell_m, self.north_m - (row + 0.5) * self.cell_m

    @property
    def affine(self) -> tuple[float, float, float, float, float, float]:
        """(a, b, c, d, e, f): easting = a col + b row + c, northing = d col + e row + f, for the cell's outer corner."""
        sine, cosine = self.turn
        east, north = self.to_map(self.west_m, self.north_m)
        return (self.cell_m * sine, self.cell_m * cosine, east, self.cell_m * cosine, -self.cell_m * sine, north)

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """(west, south, east, north) in along/across [m]."""
        return (
            self.west_m,
            self.north_m - self.rows * self.cell_m,
            self.west_m + self.cols * self.cell_m,
            self.north_m,
        )

    def window(self, row: int, col: int, rows: int, cols: int) -> Grid:
        """The part of the grid that starts at (row, col)."""
        west, north = self.west_m + col * self.cell_m, self.north_m - row * self.cell_m
        return replace(self, rows=rows, cols=cols, west_m=west, north_m=north)

    def lonlat(self, along_m: Any, across_m: Any) -> tuple[np.ndarray, np.ndarray]:
        """Longitude and latitude [deg] (of the data's own datum) of points given along and across [m]."""
        east, north = self.to_map(np.asarray(along_m, float), np.asarray(across_m, float))
        return transformer(self.crs_wkt, geographic_wkt(self.crs_wkt)).transform(east, north)


@lru_cache(maxsize=64)
def transformer(source_wkt: str, target_wkt: str) -> pyproj.Transformer:
    """A transformer that always takes and gives easting/longitude first.

    Errors: InputRefused where there is no way from one system to the other.
    """
    try:
        return pyproj.Transformer.from_crs(source_wkt, target_wkt, always_xy=True)
    except ProjError:
        names = [pyproj.CRS.from_user_input(text).name for text in (source_wkt, target_wkt)]
        raise InputRefused(
            f"there is no way from the coordinate system {names[0]!r} to {names[1]!r}",
            "coordinate systems with a link to longitude and latitude",
            "assign the right coordinate system to the file; sun and true north cannot be found without it",
        ) from None


@lru_cache(maxsize=64)
def geographic_wkt(wkt: str) -> str:
    """The geographic coordinate system a projected one is built on."""
    return _geodetic(horizontal(pyproj.CRS.from_wkt(wkt))).to_wkt()


def _geodetic(crs: pyproj.CRS) -> pyproj.CRS:
    if crs.geodetic_crs is None:
        raise InputRefused(
            f"the coordinate system {crs.name!r} has no link to longitude and latitude",
            "a geographic or projected coordinate system",
            "assign the right one to the file",
        )
    return crs.geodetic_crs


def _geod(crs: pyproj.CRS) -> pyproj.Geod:
    return _geodetic(crs).get_geod() or pyproj.Geod(ellps="WGS84")


def horizontal(crs: pyproj.CRS | None) -> pyproj.CRS:
    """The horizontal part of a compound or bound coordinate system, or the system itself. Errors: ValueError for none."""
    if crs is None:
        raise ValueError("features without a coordinate system")
    while True:
        if crs.is_compound:
            crs = crs.sub_crs_list[0]
        elif crs.is_bound and crs.source_crs is not None:
            crs = crs.source_crs
        else:
            return crs


def local_crs(source: pyproj.CRS, lon_deg: float, lat_deg: float) -> pyproj.CRS:
    """The transverse Mercator centred on (lon, lat), on the datum of `source`, scale 1 at the centre, metres.

    Arguments: source, any coordinate system with a link to the earth; lon_deg, lat_deg [deg] on its datum.
    Errors: InputRefused if `source` has no such link, so that there is no true north.
    """
    return _local_crs(source.to_wkt(), float(lon_deg), float(lat_deg))


@lru_cache(maxsize=64)
def _local_crs(source_wkt: str, lon_deg: float, lat_deg: float) -> pyproj.CRS:
    source = horizontal(pyproj.CRS.from_wkt(source_wkt))
    if source.geodetic_crs is None or not (-90 < lat_deg < 90):
        raise InputRefused(
            f"the coordinate system {source.name!r} has no link to longitude and latitude",
            "a geographic or projected coordinate system",
            "assign the right one to the file; sun and true north cannot be found without it",
        )
    geodetic = source.geodetic_crs
    base = GeographicCRS(name=geodetic.name, datum=geodetic.datum) if geodetic.is_geocentric else geodetic
    conversion = TransverseMercatorConversion(  # to 0.1 mm: 6 decimals are up to a ninth of a 0.5 m cell
        latitude_natural_origin=round(lat_deg, 9),
        longitude_natural_origin=round(lon_deg, 9),
        scale_factor_natural_origin=1.0,
    )
    return ProjectedCRS(conversion=conversion, name="tunnelsite local grid", geodetic_crs=base)


def true_scale(crs: pyproj.CRS, easting: float, northing: float) -> float:
    """Metres on the ground for each metre of a projected system's easting, at one place; 1 where it is not defined.

    Near 1 in the systems made for surveying, cos(latitude) in web Mercator. From the geodesic over 10 m (pyproj.Geod).
    """
    step = 10.0 / crs.axis_info[0].unit_conversion_factor
    back = transformer(crs.to_wkt(), geographic_wkt(crs.to_wkt()))
    lon, lat = back.transform([easting, easting + step], [northing, northing])
    if not np.isfinite([*lon, *lat]).all():
        return 1.0
    return float(_geod(crs).inv(lon[0], lat[0], lon[1], lat[1])[2] / 10.0)


def covering_grid(
    crs: pyproj.CRS, bounds: tuple[float, float, float, float], cell_m: float, bearing_deg: float
) -> Grid:
    """The grid of whole cells that covers along/across `bounds`, its cell edges on multiples of the cell size.

    Arguments: crs, a local projection; bounds (west, south, east, north) [m]; cell_m [m]; bearing_deg [deg].
    """
    west, north = math.floor(bounds[0] / cell_m), math.ceil(bounds[3] / cell_m)
    cols, rows = math.ceil(bounds[2] / cell_m) - west, north - math.floor(bounds[1] / cell_m)
    return Grid(crs.to_wkt(), cell_m, max(rows, 1), max(cols, 1), west * cell_m, north * cell_m, float(bearing_deg))


def true_bearing(grid: Grid, along_m: np.ndarray | float, across_m: np.ndarray | float) -> np.ndarray:
    """The ridge's bearing [deg, clockwise from true north] at one spot or many, from the geodesic through it (pyproj.Geod)."""
    along, across = np.asarray(along_m, np.float64), np.asarray(across_m, np.float64)
    lon, lat = grid.lonlat(np.stack([along - 10, along + 10]), np.stack([across, across]))
    there, back, _ = _geod(grid.crs).inv(lon[0], lat[0], lon[1], lat[1])
    bearing: np.ndarray = (
        there + (back + 180.0 - there + 180.0) % 360.0 / 2 - 90.0
    ) % 360.0  # mean of the azimuths at both ends
    return bearing
