"""Hillshade with the shadows that terrain and what stands on it cast."""

from __future__ import annotations

import numpy as np

from tunnelsite.core.describe import Description, LayerSpec
from tunnelsite.core.layers import Layer
from tunnelsite.core.process import Inputs, Process, Progress, Values
from tunnelsite.kernels.light import horizon
from tunnelsite.kernels.terrain import slope as terrain
from tunnelsite.processes.hillshade import EXAGGERATION
from tunnelsite.processes.sun_asked import SUN_PARAMETERS, SUN_SOURCE, square_cell_m, sun_asked


def _run(inputs: Inputs, parameters: Values, progress: Progress) -> dict[str, Layer]:
    ground = inputs["ground"]
    cell_m = square_cell_m(ground, "hillshade_shadowed")
    azimuth, elevation = sun_asked(parameters)
    on_grid = azimuth - (parameters["bearing_deg"] - 90.0)
    shade = terrain.hillshade(ground.values, cell_m, on_grid, elevation, parameters["exaggeration"])
    progress("hillshade", 0.5)
    # Heights are exaggerated for the shading alone: a shadow is where it really falls.
    rays = horizon.Rays(drop_per_m=horizon.earth_drop_per_m())
    surface = inputs.get("surface", ground).values
    hidden = horizon.cast_shadow(surface, ground.values, cell_m, on_grid, elevation, rays)
    shade[hidden & np.isfinite(shade)] = 0.0
    progress("hillshade", 1.0)
    title = f"Hillshade with shadows, sun at azimuth {azimuth:.2f}, elevation {elevation:.2f} deg"
    return {"hillshade_shadowed": Layer(shade, "1", title, ground.cell_m)}


PROCESS = Process(
    Description(
        "hillshade_shadowed",
        "Hillshade with cast shadows",
        "Cosine of the angle between the ground and the sun, 0 to 255; 0 where the ground faces away or lies in the shadow of terrain, "
        "trees or buildings; no data where the 3 x 3 window is incomplete.",
        reads=(
            LayerSpec("ground", "m", "bare ground"),
            LayerSpec("surface", "m", "ground plus what stands on it; the ground where not given", optional=True),
        ),
        makes=(LayerSpec("hillshade_shadowed", "1", "0 to 255, 0 in shadow"),),
        parameters=(
            *SUN_PARAMETERS,
            EXAGGERATION,
        ),
        source=f"horn-1981, {SUN_SOURCE}",
    ),
    _run,
)
