"""How far it is from each cell to the nearest thing that stands."""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from tunnelsite.core.describe import Description, LayerSpec, Parameter
from tunnelsite.core.layers import Layer
from tunnelsite.core.process import Process


def _run(inputs, parameters, progress) -> dict[str, Layer]:
    standing = inputs["standing_m"]
    open_ground = ~(standing.values >= parameters["least_m"])
    if open_ground.all():
        away = np.full(standing.values.shape, parameters["most_m"], np.float32)
    else:
        away = ndimage.distance_transform_edt(open_ground, sampling=standing.cell_m[::-1]).astype(np.float32)
        np.minimum(away, np.float32(parameters["most_m"]), out=away)
    away[np.isnan(standing.values)] = np.nan
    progress("room", 1.0)
    return {"standing_distance_m": Layer(away, "m", "Distance to what stands", standing.cell_m)}


PROCESS = Process(
    Description(
        "standing_distance",
        "Distance to what stands",
        "Distance from the middle of each cell to the middle of the nearest cell on which something tall enough stands.",
        reads=(LayerSpec("standing_m", "m", "height of what stands on the ground"),),
        makes=(LayerSpec("standing_distance_m", "m", "distance to the nearest thing that stands"),),
        parameters=(
            Parameter("least_m", "lower things do not count", 1.0, "m", 0.1, 100.0),
            Parameter("most_m", "greater distances are given as this", 100.0, "m", 1.0, 10_000.0),
        ),
        source="exact Euclidean distance transform (Maurer, Qi & Raghavan 2003), through scipy",
    ),
    _run,
)
