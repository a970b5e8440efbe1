"""Light over a part of the year: the share of the beam that terrain, trees and buildings let through."""

from __future__ import annotations

import numpy as np

from tunnelsite.core.describe import Description, LayerSpec, Parameter
from tunnelsite.core.layers import Layer
from tunnelsite.core.process import Process
from tunnelsite.core.units import month_day
from tunnelsite.kernels.horizon import Rays, earth_drop_per_m
from tunnelsite.kernels.horizon_share import folded_share, sector_tables
from tunnelsite.processes.solar import sun_path


def _run(inputs, parameters, progress) -> dict[str, Layer]:
    ground, surface = inputs["ground"], inputs["surface"]
    period = (month_day(parameters["first_day"]), month_day(parameters["last_day"]))
    place = (parameters["latitude_deg"], parameters["longitude_deg"], parameters["altitude_m"])
    sun = sun_path(*place, period)
    progress("light", 0.05)
    if not len(sun.azimuth_deg) or sun.beam_wh.sum() <= 0:  # polar night: there is nothing to have a share of
        share = np.full(ground.values.shape, np.nan, np.float32)
        return {"beam_share": Layer(share, "1", "No sun in this period", ground.cell_m)}
    count = parameters["azimuths"]
    azimuths = np.arange(count) * (360.0 / count)
    to_grid = parameters["bearing_deg"] - 90.0  # azimuths of the kernels count from the grid's own up direction
    tables = sector_tables((sun.azimuth_deg - to_grid) % 360.0, sun.elevation_deg, sun.beam_wh, azimuths)
    eye = ground.values + np.float32(parameters["light_height_m"])
    rays = Rays(drop_per_m=earth_drop_per_m())
    share = folded_share(surface.values, eye, ground.cell_m[0], azimuths, tables, rays)[0]
    progress("light", 1.0)
    return {"beam_share": Layer(share, "1", "Share of the beam", ground.cell_m)}


PROCESS = Process(
    Description(
        "season_light",
        "Light of a season",
        "Beam energy on a horizontal plane received over a part of the year, as a share of what a flat horizon would let in: the "
        "horizon of every cell, at any distance in the data, against the sun's path under a clear sky.",
        reads=(LayerSpec("ground", "m", "bare ground"), LayerSpec("surface", "m", "ground plus what stands on it")),
        makes=(LayerSpec("beam_share", "1", "beam energy received / received with a flat horizon"),),
        parameters=(
            Parameter("latitude_deg", "latitude", 45.0, "deg", -90.0, 90.0),
            Parameter("longitude_deg", "longitude", 0.0, "deg", -180.0, 180.0),
            Parameter("altitude_m", "height above the sea", 0.0, "m", -500.0, 9000.0),
            Parameter("bearing_deg", "true bearing of the raster's rows, west to east", 90.0, "deg", -360.0, 360.0),
            Parameter("first_day", "first day", "01-01"),
            Parameter("last_day", "last day", "12-31"),
            Parameter("azimuths", "directions of the horizon", 36, "", 8, 720),
            Parameter("light_height_m", "height above the ground at which light is judged", 1.0, "m", 0.0, 30.0),
        ),
        source="sun: Reda & Andreas 2003 (NREL SPA); clear sky: Ineichen & Perez 2002, both through pvlib",
    ),
    _run,
)
