"""Topographic wetness: where water gathers and drains slowly."""

from __future__ import annotations

import numpy as np

from tunnelsite.core.describe import Description, LayerSpec, Parameter
from tunnelsite.core.layers import Layer
from tunnelsite.core.process import Inputs, Process, Progress, Values
from tunnelsite.kernels.terrain import slope as terrain
from tunnelsite.kernels.water import upslope
from tunnelsite.processes import contributing_area


def _run(inputs: Inputs, parameters: Values, progress: Progress) -> dict[str, Layer]:
    ground = inputs["ground"]
    method = {"method": parameters["method"], "engine": "built-in"}
    area = contributing_area.PROCESS.run(inputs, method, progress)["upslope_m2"].values
    slope = terrain.slope(ground.values, *ground.cell_m)
    index = upslope.wetness(area, slope, ground.cell_m[0], parameters["least_slope"]).astype(np.float32)
    progress("wetness", 1.0)
    return {"wetness": Layer(index, "1", "Topographic wetness index", ground.cell_m)}


PROCESS = Process(
    Description(
        "wetness",
        "Topographic wetness",
        "ln(a / tan b): contributing area per metre of contour over the slope. It compares places of one raster; it depends on the "
        "cell size and no value of it is known to be wet.",
        reads=(LayerSpec("ground", "m", "bare ground"), *contributing_area.BEYOND),
        makes=(LayerSpec("wetness", "1", "topographic wetness index"),),
        parameters=(
            Parameter("method", "how flow is shared", "d-infinity", choices=("d8", "d-infinity")),
            Parameter("least_slope", "slope below which ground counts as this steep", 0.001, "m/m", 1e-6, 1.0),
        ),
        source="beven-kirkby",
    ),
    _run,
)
