"""The sun that a process is asked about: by azimuth and elevation, or by time and place."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np

from tunnelsite.core.describe import Parameter
from tunnelsite.core.errors import UsageError
from tunnelsite.core.layers import Layer
from tunnelsite.core.needs import supplied
from tunnelsite.sun.position import Observer, sun_positions, utc_seconds

SUN_PARAMETERS = (
    Parameter("azimuth_deg", "azimuth of the sun, clockwise from true north", 180.0, "deg", 0.0, 360.0),
    Parameter("elevation_deg", "height of the sun above the horizon, as seen", 30.0, "deg", -90.0, 90.0),
    Parameter("when_utc", "time, as 2027-12-21T17:00Z, in place of azimuth and elevation", ""),
    supplied("latitude_deg"),
    supplied("longitude_deg"),
    supplied("bearing_deg"),
)
SUN_SOURCE = "reda-andreas-2003"


def sun_asked(parameters: Mapping[str, Any], altitude_m: float = 0.0) -> tuple[float, float]:
    """Azimuth, clockwise from true north, and elevation of the sun [deg].

    Arguments: parameters, checked; altitude_m, for the refraction [m]. Errors: UsageError for a time without a place, or no time.
    """
    if not parameters["when_utc"]:
        return parameters["azimuth_deg"], parameters["elevation_deg"]
    lat, lon = parameters["latitude_deg"], parameters["longitude_deg"]
    if not (math.isfinite(lat) and math.isfinite(lon)):
        raise UsageError(
            f"when_utc is {parameters['when_utc']!r} without a place",
            "latitude_deg and longitude_deg",
            "give both; a raster with a coordinate system that is linked to the earth gives them by itself",
        )
    seconds = np.array([utc_seconds(parameters["when_utc"])])
    azimuth, elevation = sun_positions(seconds, Observer(lat, lon, altitude_m))
    return float(azimuth[0]) % 360.0, float(elevation[0])


def square_cell_m(layer: Layer, what: str) -> float:
    """The side of a layer's cells [m]. Errors: UsageError where they are not square: shadows need directions without distortion."""
    east, north = layer.cell_m
    if abs(east - north) > 1e-6 * east:
        raise UsageError(f"{what} was given cells of {east:g} by {north:g} m", "square cells", "warp the raster first")
    return east
