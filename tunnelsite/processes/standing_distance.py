"""How far it is from each cell to the nearest thing that stands."""

from __future__ import annotations

import numpy as np

from tunnelsite.core.describe import Description, LayerSpec, Parameter
from tunnelsite.core.layers import Layer
from tunnelsite.core.process import Inputs, Process, Progress, Values
from tunnelsite.kernels.distance import distance_to


def _run(inputs: Inputs, parameters: Values, progress: Progress) -> dict[str, Layer]:
    standing = inputs["standing_m"]
    tall = standing.values >= parameters["least_m"]  # NaN compares false
    away = distance_to(tall, standing.cell_m, parameters["most_m"])
    away[np.isnan(standing.values)] = np.nan
    progress("room", 1.0)
    return {"standing_distance_m": Layer(away, "m", "Distance to what stands", standing.cell_m)}


PROCESS = Process(
    Description(
        "standing_distance",
        "Distance to what stands",
        "Distance from the middle of each cell to the middle of the nearest cell on which something tall enough stands.",
        reads=(LayerSpec("standing_m", "m", "height of what stands on the ground"),),
        makes=(LayerSpec("standing_distance_m", "m", "distance to the nearest thing that stands", half=True),),
        parameters=(
            Parameter("least_m", "lower things do not count", 1.0, "m", 0.1, 100.0),
            Parameter("most_m", "greater distances are given as this", 100.0, "m", 1.0, 10_000.0),
        ),
        source="distance-felzenszwalb",
    ),
    _run,
)
