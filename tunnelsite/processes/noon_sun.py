"""Which ground is in the sun at noon of the winter solstice."""

from __future__ import annotations

import math

import numpy as np

from tunnelsite.core.describe import Description, LayerSpec
from tunnelsite.core.errors import UsageError
from tunnelsite.core.layers import Layer
from tunnelsite.core.needs import supplied
from tunnelsite.core.process import Inputs, Process, Progress, Values
from tunnelsite.kernels.bands import bands
from tunnelsite.kernels.light.horizon import Rays, earth_drop_per_m, grid_pair, seen_by, tangents_ahead
from tunnelsite.kernels.light.horizon_rays import march
from tunnelsite.processes.outlines_given import KIND, OUTLINES, outlines_of

OBLIQUITY_DEG = 23.436  # declination at the solstices of 2025 [@obliquity-iau2006]
SUN_RADIUS_DEG = 0.2667  # Reda & Andreas 2003
HORIZON_REFRACTION_DEG = 0.5667  # Reda & Andreas 2003: below radius + this the sun is down
PART_CELLS = 1 << 26  # whose horizons are in memory together; each part walks over all of the land ahead of it


def noon_sun(lat_deg: float) -> tuple[float, float] | None:
    """(true azimuth, elevation) [deg] of the sun's centre at true solar noon of the winter solstice, with refraction.

    December north of the equator and on it, June south of it. None in polar night, where even the upper limb stays down.
    Source: noon elevation 90 - |latitude - declination| (geometry); refraction of Reda & Andreas 2003, eq. 42, at 1010 mbar
    and 10 deg C.
    """
    declination = -OBLIQUITY_DEG if lat_deg >= 0 else OBLIQUITY_DEG
    elevation = 90.0 - abs(lat_deg - declination)
    if elevation < -(SUN_RADIUS_DEG + HORIZON_REFRACTION_DEG):
        return None
    elevation += 1.02 / (60.0 * math.tan(math.radians(elevation + 10.3 / (elevation + 5.11))))
    return (180.0 if lat_deg > declination else 0.0), elevation


def _run(inputs: Inputs, parameters: Values, progress: Progress) -> dict[str, Layer]:
    ground, surface = inputs["ground"], inputs["surface"]
    if math.isnan(parameters["latitude_deg"]):
        raise UsageError(
            "noon_sun has no latitude", "latitude_deg", "set it, or give a raster with a coordinate system"
        )
    sun = noon_sun(parameters["latitude_deg"])
    if sun is None:
        dark = np.full(ground.values.shape, np.nan, np.float32)
        return {"noon_sun": Layer(dark, "1", "Polar night: no sun at noon of the winter solstice", ground.cell_m)}
    azimuth = (sun[0] - (parameters["bearing_deg"] - 90.0)) % 360.0
    rays = Rays(drop_per_m=earth_drop_per_m(), lift_m=parameters["light_height_m"])
    edges = outlines_of(inputs)[:, :KIND]
    cell, way = ground.cell_m[0], march(azimuth)
    pair = grid_pair(surface.values, ground.values, cell)
    lit, highest = np.empty(ground.values.shape, np.float32), math.tan(math.radians(sun[1]))
    for rows in bands(lit.shape, PART_CELLS):
        window = rows.start, rows.stop, 0, len(lit[0])
        tangent = tangents_ahead(seen_by(pair, edges, window, turn=way.transposed), cell, way, rays)
        lit[rows] = np.where(np.isnan(tangent), np.float32(np.nan), tangent <= highest)
        del tangent
        progress("noon sun", rows.stop / len(lit))  # ground that was looked at may leave memory
    return {"noon_sun": Layer(lit, "1", "In the sun at noon of the winter solstice", ground.cell_m)}


PROCESS = Process(
    Description(
        "noon_sun",
        "Noon sun in midwinter",
        "1 where the sun's centre stands above terrain, trees and buildings at true solar noon of the winter solstice (December in "
        "the north, June in the south), else 0; no data in polar night.",
        reads=(
            LayerSpec("ground", "m", "bare ground"),
            LayerSpec("surface", "m", "ground plus what stands on it"),
            OUTLINES,
        ),
        makes=(LayerSpec("noon_sun", "1", "1 = in the sun at noon of the winter solstice", half=True),),
        parameters=(
            supplied("latitude_deg"),
            supplied("bearing_deg"),
            supplied("light_height_m"),
        ),
        source="shadow-geometry, reda-andreas-2003",
    ),
    _run,
)
