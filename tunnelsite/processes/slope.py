"""Slope of the ground."""

from __future__ import annotations

import numpy as np

from tunnelsite.core.describe import Description, LayerSpec, Parameter
from tunnelsite.core.layers import Layer
from tunnelsite.core.process import Inputs, Process, Progress, Values
from tunnelsite.kernels.terrain import slope as terrain
from tunnelsite.processes.by_rows import by_rows


def _run(inputs: Inputs, parameters: Values, progress: Progress) -> dict[str, Layer]:
    ground = inputs["ground"]
    rise = terrain.slope(ground.values, *ground.cell_m)
    progress("slope", 1.0)
    if parameters["as_unit"] == "deg":
        return {"slope": Layer(np.degrees(np.arctan(rise)), "deg", "Slope", ground.cell_m)}
    return {"slope": Layer(rise * np.float32(100), "%", "Slope", ground.cell_m)}


PROCESS = Process(
    Description(
        "slope",
        "Slope",
        "Slope of the ground by a 3 x 3 window; no data where the window is incomplete. One cell of lidar ground is noise: "
        "judge a footprint by its plane.",
        reads=(LayerSpec("ground", "m", "bare ground"),),
        makes=(LayerSpec("slope", "%", "slope, rise over run (or degrees)"),),
        parameters=(Parameter("as_unit", "unit of the slope", "%", choices=("%", "deg")),),
        source="horn-1981",
    ),
    _run,
    by_rows(_run, "slope"),
)
