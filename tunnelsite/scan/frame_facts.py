"""What a frame tells criteria and processes that declare they need it; the names are in `core.needs`."""

from __future__ import annotations

from collections.abc import Callable, Collection
from typing import Any

from tunnelsite.core.elevation_error import ErrorModel
from tunnelsite.core.site import Frame
from tunnelsite.scan.pitch_error import stated_error


def _error(frame: Frame) -> ErrorModel:
    return frame.error or stated_error(frame, None, None)


FRAME_FACTS: dict[str, Callable[[Frame], Any]] = {
    "bearing_deg": lambda frame: frame.grid.bearing_deg,
    "latitude_deg": lambda frame: frame.lat_deg,
    "longitude_deg": lambda frame: frame.lon_deg,
    "datum_m": lambda frame: frame.datum_m,
    "height_step_m": lambda frame: frame.step_m,
    "elevation_error_m": lambda frame: _error(frame).sd_m,
    "error_range_m": lambda frame: _error(frame).range_m,
    "crs_wkt": lambda frame: frame.grid.crs_wkt,
    "west_m": lambda frame: frame.grid.west_m,
    "north_m": lambda frame: frame.grid.north_m,
}


def facts_of(frame: Frame, names: Collection[str]) -> dict[str, Any]:
    """The facts among these names that a frame tells."""
    return {name: tell(frame) for name, tell in FRAME_FACTS.items() if name in names}
