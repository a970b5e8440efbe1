"""How far it is from each cell to the nearest thing that stands."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
from scipy import ndimage

from tunnelsite.core.describe import Description, LayerSpec, Parameter
from tunnelsite.core.layers import Layer
from tunnelsite.core.process import Process
from tunnelsite.kernels.bands import bands

_SOME_CELLS = 1 << 18


def _distances(nearest: np.ndarray, rows: slice, steps_m: tuple[float, float]) -> Iterator[tuple[slice, np.ndarray]]:
    """(rows, float32 [m] of them) of some `rows` at a time, from the row and column of the nearest thing, int32 [2, rows, cols].

    As scipy has them, which would hold five arrays of float64 and int32 beside these at once.
    """
    cols = np.arange(nearest.shape[2], dtype=np.int32)
    for part in bands((rows.stop - rows.start, len(cols)), _SOME_CELLS):
        some = slice(rows.start + part.start, rows.start + part.stop)
        down = (nearest[0, some] - np.arange(some.start, some.stop, dtype=np.int32)[:, None]) * np.float64(steps_m[0])
        along = (nearest[1, some] - cols) * np.float64(steps_m[1])
        yield part, np.sqrt(down * down + along * along).astype(np.float32)


def _run(inputs, parameters, progress) -> dict[str, Layer]:
    standing, most_m = inputs["standing_m"], parameters["most_m"]
    values, rows_m = standing.values, standing.cell_m[1]
    away = np.full(values.shape, most_m, np.float32)
    reach = math.ceil(most_m / rows_m) + 1  # what is farther off makes no difference, so a band sees enough
    for rows in bands(values.shape):
        top, bottom = max(rows.start - reach, 0), rows.stop + reach
        clear = ~(values[top:bottom] >= parameters["least_m"])
        if not clear.all():
            steps_m, mine = standing.cell_m[::-1], slice(rows.start - top, rows.stop - top)
            nearest = ndimage.distance_transform_edt(clear, steps_m, return_distances=False, return_indices=True)
            for part, distance in _distances(nearest, mine, steps_m):
                np.minimum(distance, np.float32(most_m), out=away[rows][part])
            del nearest
        away[rows][np.isnan(values[rows])] = np.nan
        progress("room", rows.stop / len(values))
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
        source="distance-maurer",
    ),
    _run,
)
