"""How many of its own heights the nearest standing thing is away from each cell."""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from tunnelsite.core.describe import Description, LayerSpec, Parameter
from tunnelsite.core.layers import Layer
from tunnelsite.core.process import Inputs, Process, Progress, Values

CLASS = 1.25  # ratio of the heights in one class


def _run(inputs: Inputs, parameters: Values, progress: Progress) -> dict[str, Layer]:
    standing = inputs["standing_m"]
    heights, most = np.nan_to_num(standing.values, nan=0.0), parameters["most_heights"]
    away = np.full(heights.shape, most, np.float32)
    limit, tallest = parameters["least_m"], float(heights.max(initial=0.0))
    while limit <= tallest:
        above = heights >= limit
        lowest = float(heights[above].min())  # classes that hold nothing are passed over
        distance, nearest = ndimage.distance_transform_edt(~above, sampling=standing.cell_m[::-1], return_indices=True)
        np.minimum(away, (distance / heights[tuple(nearest)]).astype(np.float32), out=away)
        limit = lowest * CLASS
    away[np.isnan(standing.values)] = np.nan
    progress("windbreaks", 1.0)
    return {"standing_heights": Layer(away, "1", "Distance to what stands, in its own heights", standing.cell_m)}


PROCESS = Process(
    Description(
        "standing_heights",
        "Distance to what stands, in heights",
        "Distance from the middle of each cell to the middle of a standing cell, over the height of what stands there, the least of all: "
        "exact where heights fall into one class, up to a quarter too far where they are mixed.",
        reads=(LayerSpec("standing_m", "m", "height of what stands on the ground"),),
        makes=(LayerSpec("standing_heights", "1", "distance to what stands, in its own heights"),),
        parameters=(
            Parameter("least_m", "lower things do not count", 3.0, "m", 0.1, 100.0),
            Parameter("most_heights", "greater distances are given as this", 30.0, "1", 1.0, 1000.0),
        ),
        source="distance-maurer, distance-classes",
    ),
    _run,
)
