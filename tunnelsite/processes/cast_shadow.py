"""Where the sun does not reach at one moment: shadow cast by terrain and by what stands on it."""

from __future__ import annotations

import numpy as np

from tunnelsite.core.describe import Description, LayerSpec
from tunnelsite.core.layers import Layer
from tunnelsite.core.needs import supplied
from tunnelsite.core.process import Inputs, Process, Progress, Values
from tunnelsite.kernels.light import horizon
from tunnelsite.processes.sun_asked import SUN_PARAMETERS, SUN_SOURCE, square_cell_m, sun_asked


def _run(inputs: Inputs, parameters: Values, progress: Progress) -> dict[str, Layer]:
    ground = inputs["ground"]
    cell_m = square_cell_m(ground, "cast_shadow")
    azimuth, elevation = sun_asked(parameters)
    eye = ground.values + np.float32(parameters["light_height_m"])
    rays = horizon.Rays(drop_per_m=horizon.earth_drop_per_m())
    hidden = horizon.cast_shadow(
        inputs.get("surface", ground).values, eye, cell_m, azimuth - (parameters["bearing_deg"] - 90.0), elevation, rays
    )
    progress("cast shadow", 1.0)
    shadow = np.where(np.isnan(eye), np.float32(np.nan), hidden.astype(np.float32))
    title = f"Shadow, sun at azimuth {azimuth:.2f}, elevation {elevation:.2f} deg"
    return {"cast_shadow": Layer(shadow, "1", title, ground.cell_m)}


PROCESS = Process(
    Description(
        "cast_shadow",
        "Cast shadow",
        "Where the centre of the sun stands behind terrain, trees or buildings at one moment: 1 in shadow, 0 in the sun, no data "
        "where the ground is unknown; everything is in shadow while the sun is below the horizontal. Land beyond the data casts none.",
        reads=(
            LayerSpec("ground", "m", "bare ground"),
            LayerSpec("surface", "m", "ground plus what stands on it; the ground where not given", optional=True),
        ),
        makes=(LayerSpec("cast_shadow", "1", "1 in shadow, 0 in the sun"),),
        parameters=(
            *SUN_PARAMETERS,
            supplied("light_height_m", default=0.0),
        ),
        source=f"{SUN_SOURCE}, refraction-gauss, earth-radius-iugg",
    ),
    _run,
)
