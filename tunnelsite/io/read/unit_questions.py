"""Questions that only the user can answer about the unit of heights; nothing is guessed where a wrong guess would mislead."""

from __future__ import annotations

import math

import numpy as np

from tunnelsite.core.errors import InputRefused
from tunnelsite.io.read.raster_header import RasterHeader

# Finer models are made from lidar or photographs, which are never stored in whole metres: whole numbers are then decimetres,
# centimetres, feet, or spoilt. Coarser ones (30 m, 90 m from orbit) are published in whole metres (common practice, no source).
WHOLE_METRES_FROM_M = 15.0
_DEGREE_M = 111_000.0


def ask_unit(header: RasterHeader, index: int) -> None:
    """Ask for the unit of heights that carry none, where metres are not plain. Errors: InputRefused, naming the option that answers.

    Arguments: header; index, number of the band from 1.
    """
    option = "--far-elevation-unit" if header.option == "--far-dem" else "--elevation-unit"
    name = f"{header.option}: {header.path.name!r}"
    foot = _foot(header)
    if foot:
        raise InputRefused(
            f"{name} is on a map in {header.crs.axis_info[0].unit_name} and its heights carry no unit: are they in feet or in metres?",
            "the unit of the heights, which is never guessed",
            f"say {option} {foot} if they are in feet too, or {option} m; the setting {_setting(option)} does the same in a project "
            "file, in Python and over HTTP",
        )
    band = header.bands[index - 1]
    whole = np.dtype(band.dtype).kind in "iu" and (band.scale, band.offset) == (1.0, 0.0)
    if whole and (cell_m := _cell_m(header)) < WHOLE_METRES_FROM_M:
        raise InputRefused(
            f"{name} holds whole numbers ({band.dtype}) on cells of {cell_m:.3g} m, without a unit or a scale: are they metres, "
            "decimetres, centimetres or feet?",
            "the unit of the heights, which is never guessed",
            f"say {option} m, dm, cm, ft or us-ft; the setting {_setting(option)} does the same in a project file, in Python and "
            "over HTTP",
        )


def _setting(option: str) -> str:
    return option.lstrip("-").replace("-", "_")


def _foot(header: RasterHeader) -> str:
    """`ft` or `us-ft` where the map is in feet, else ``."""
    axis = header.crs.axis_info[0] if header.crs.axis_info else None
    if axis is None or "foot" not in axis.unit_name.lower():
        return ""
    return "us-ft" if "survey" in axis.unit_name.lower() else "ft"


def _cell_m(header: RasterHeader) -> float:
    """About the finer side of a cell [m]."""
    a, b, _, d, e, _ = header.affine
    side = min(math.hypot(a, d), math.hypot(b, e))
    axis = header.crs.axis_info[0] if header.crs.axis_info else None
    return side * (_DEGREE_M if header.crs.is_geographic else axis.unit_conversion_factor if axis else 1.0)
