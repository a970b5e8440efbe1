"""Light over a part of the year: the share of the beam that terrain, trees and buildings let through."""

from __future__ import annotations

import numpy as np

from tunnelsite.core.describe import Description, LayerSpec, Parameter
from tunnelsite.core.layers import Layer
from tunnelsite.core.process import Process
from tunnelsite.kernels.horizon import Rays, earth_drop_per_m
from tunnelsite.kernels.horizon_share import folded_share, sector_tables

LEAST_ENERGY = 1e-9


def _run(inputs, parameters, progress) -> dict[str, Layer]:
    ground, surface, sun = inputs["ground"], inputs["surface"], inputs["sun"].values
    leafless = inputs.get("surface_leafless", surface)
    total = float(sun[:, 2].sum()) if len(sun) else 0.0
    if total <= 0:  # polar night: there is nothing to have a share of
        share = np.full(ground.values.shape, np.nan, np.float32)
        return {"beam_share": Layer(share, "1", "No sun in this period", ground.cell_m)}
    azimuths = np.arange(parameters["azimuths"]) * (360.0 / parameters["azimuths"])
    to_grid = parameters["bearing_deg"] - 90.0  # azimuths of the kernels count from the grid's own up direction
    eye = ground.values + np.float32(parameters["light_height_m"])
    rays = Rays(drop_per_m=earth_drop_per_m())

    def folded(heights: np.ndarray, energy: np.ndarray) -> np.ndarray:
        tables = sector_tables((sun[:, 0] - to_grid) % 360.0, sun[:, 1], energy, azimuths)
        return folded_share(heights, eye, ground.cell_m[0], azimuths, tables, rays)[0]

    passed = sun[:, 2] * sun[:, 3]
    if leafless.values is surface.values or passed.sum() <= LEAST_ENERGY * total:
        share = folded(surface.values, sun[:, 2])
    else:
        # What is above everything counts whole; what is above all but bare crowns counts by what they pass:
        # E [h_all] + tau E ([h_leafless] - [h_all]) = (1 - tau) E [h_all] + tau E [h_leafless], one pass over each surface.
        share = folded(surface.values, sun[:, 2] - passed)
        progress("light", 0.5)
        share *= np.float32(1 - passed.sum() / total)
        share += np.float32(passed.sum() / total) * folded(leafless.values, passed)
    progress("light", 1.0)
    return {"beam_share": Layer(share, "1", "Share of the beam", ground.cell_m)}


PROCESS = Process(
    Description(
        "season_light",
        "Light of a season",
        "Beam energy on a horizontal plane received over a part of the year, as a share of what a flat horizon would let in: the "
        "horizon of every cell, at any distance in the data, against the sun's path. Bare deciduous crowns pass a part of it.",
        reads=(
            LayerSpec("ground", "m", "bare ground"),
            LayerSpec("surface", "m", "ground plus what stands on it"),
            LayerSpec(
                "sun",
                "deg, deg, Wh/m2, 1",
                "azimuth, elevation, beam energy and share passed by bare crowns, a row a step",
            ),
            LayerSpec("surface_leafless", "m", "the surface without the crowns of deciduous trees", optional=True),
        ),
        makes=(LayerSpec("beam_share", "1", "beam energy received / received with a flat horizon"),),
        parameters=(
            Parameter("bearing_deg", "true bearing of the raster's rows, west to east", 90.0, "deg", -360.0, 360.0),
            Parameter("azimuths", "directions of the horizon", 36, "", 8, 720),
            Parameter("light_height_m", "height above the ground at which light is judged", 1.0, "m", 0.0, 30.0),
        ),
        source="sun: Reda & Andreas 2003 (NREL SPA); clear sky: Ineichen & Perez 2002, both through pvlib; bare trees cut a third to "
        "half of the beam (building-energy text, seen, secondary)",
    ),
    _run,
)
