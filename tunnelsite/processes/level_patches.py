"""Large patches of exactly level ground: what ponds and lakes look like in an elevation model."""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from tunnelsite.core.describe import Description, LayerSpec, Parameter
from tunnelsite.core.layers import Layer
from tunnelsite.core.process import Process
from tunnelsite.kernels.level_patches import level_cells

TOLERANCE_M = 2e-4  # heights are float32 above a datum: equal ones stay equal to well below this through the warp


def _run(inputs, parameters, progress) -> dict[str, Layer]:
    ground = inputs["ground"]
    level = level_cells(np.ascontiguousarray(ground.values, np.float32), np.float32(TOLERANCE_M))
    progress("level patches", 0.5)
    cell_m2 = ground.cell_m[0] * ground.cell_m[1]
    if level.any():
        label, count = ndimage.label(level, structure=np.ones((3, 3), bool))
        area = np.bincount(label.ravel(), minlength=count + 1) * cell_m2
        area[0] = 0.0
        level = (area >= parameters["least_m2"])[label]
        level = ndimage.binary_dilation(
            level, structure=np.ones((3, 3), bool)
        )  # the windows' outer cells are level too
    if level.mean() > parameters["most_share"]:
        level[:] = False  # most of the data is level: heights are rounded or the land is, and the sign means nothing
    progress("level patches", 1.0)
    return {"water_like": Layer(level.astype(np.float32), "1", "Looks like open water", ground.cell_m)}


PROCESS = Process(
    Description(
        "level_patches",
        "Level patches",
        "Marks large patches whose heights are all equal, as open water is in flattened elevation models.",
        reads=(LayerSpec("ground", "m", "bare ground"),),
        makes=(LayerSpec("water_like", "1", "1 = looks like open water"),),
        parameters=(
            Parameter("least_m2", "smallest patch", 400.0, "m2", 0.0, 1e9),
            Parameter("most_share", "share of the data above which the sign is not believed", 0.25, "1", 0.0, 1.0),
        ),
        source="hydro-flattening as in the USGS Lidar Base Specification (from memory)",
    ),
    _run,
)
