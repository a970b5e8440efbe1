"""The ground with every hollow filled to its rim."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from tunnelsite.core.describe import Description, LayerSpec
from tunnelsite.core.layers import Layer
from tunnelsite.core.needs import supplied
from tunnelsite.core.process import ByTiles, GroundTiles, Inputs, Process, Progress, Values, Write
from tunnelsite.kernels.water import by_richdem, fill
from tunnelsite.kernels.water.tiled_drainage import tiled_filled


def filled_by(engine: str, ground: np.ndarray, pause: Callable[[], None] = lambda: None) -> np.ndarray:
    """Depression-filled ground by the built-in kernel or richdem, equal to the bit but for holes in the data. pause, as `fill.filled`."""
    if engine == "built-in":
        return np.asarray(fill.filled(ground, pause))
    return by_richdem.filled(ground)


TILE = 2048  # cells along a tile's side, where the raster is too large to be held


def _run(inputs: Inputs, parameters: Values, progress: Progress) -> dict[str, Layer]:
    ground = inputs["ground"]
    filled = filled_by(parameters["engine"], ground.values)
    progress("hollows", 1.0)
    return _layers(filled, fill.ponding_depth(ground.values, filled), ground.cell_m)


def _by_tiles(ground: GroundTiles, parameters: Values, write: Write, progress: Progress) -> None:
    def put(rows: slice, cols: slice, heights: np.ndarray, filled: np.ndarray) -> None:
        write(rows, cols, _layers(filled, fill.ponding_depth(heights, filled), ground.cell_m))

    tiled_filled(ground.read, put, ground.shape, TILE, lambda share: progress("hollows", share))


def _layers(filled: np.ndarray, ponding: np.ndarray, cell_m: tuple[float, float]) -> dict[str, Layer]:
    return {
        "filled": Layer(filled, "m", "Ground with hollows filled", cell_m),
        "ponding_m": Layer(ponding, "m", "Depth of hollows", cell_m),
    }


PROCESS = Process(
    Description(
        "filled_ground",
        "Filled ground",
        "Raises every hollow to the level at which it spills; the edge of the data and cells without data let water out.",
        reads=(LayerSpec("ground", "m", "bare ground"),),
        makes=(
            LayerSpec("filled", "m", "ground with every hollow filled to its rim"),
            LayerSpec("ponding_m", "m", "depth of the hollow the cell lies in, below its rim"),
        ),
        parameters=(supplied("engine"),),
        source="barnes-2014",
    ),
    _run,
    ByTiles(_by_tiles, lambda parameters: parameters["engine"] == "built-in"),
)
