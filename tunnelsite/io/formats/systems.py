"""Coordinate systems as files store them."""

from __future__ import annotations

import pyproj

from tunnelsite.core.grid import horizontal


def flat_system(crs: pyproj.CRS) -> pyproj.CRS:
    """The two-dimensional horizontal part of any coordinate system: without heights, compound or 3-D."""
    # by way of WKT, because to_2d() fails on pyproj's own subclasses of CRS
    return pyproj.CRS.from_wkt(horizontal(crs).to_wkt()).to_2d()
