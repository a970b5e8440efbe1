"""The ground with every hollow filled to its rim."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from tunnelsite.core.describe import Description, LayerSpec, Parameter
from tunnelsite.core.layers import Layer
from tunnelsite.core.process import Process
from tunnelsite.kernels import fill


def filled_by(engine: str, ground: np.ndarray, pause: Callable[[], None] = lambda: None) -> np.ndarray:
    """Depression-filled ground by the built-in kernel or by richdem; the two agree to the bit. pause, as `fill.filled`."""
    if engine == "built-in":
        return fill.filled(ground, pause)
    import richdem  # only where it is asked for

    nodata = np.float64(-1e30)
    array = richdem.rdarray(np.where(np.isfinite(ground), ground, nodata).astype(np.float64), no_data=nodata)
    result = np.array(richdem.FillDepressions(array, epsilon=False, in_place=False))
    return np.where(result == nodata, np.nan, result).astype(ground.dtype)


def _run(inputs, parameters, progress) -> dict[str, Layer]:
    ground = inputs["ground"]
    filled = filled_by(parameters["engine"], ground.values)
    progress("hollows", 1.0)
    return {
        "filled": Layer(filled, "m", "Ground with hollows filled", ground.cell_m),
        "ponding_m": Layer(fill.ponding_depth(ground.values, filled), "m", "Depth of hollows", ground.cell_m),
    }


ENGINE = Parameter("engine", "what computes it", "built-in", choices=("built-in", "richdem"))
PROCESS = Process(
    Description(
        "fill_depressions",
        "Fill depressions",
        "Raises every hollow to the level at which it spills; the edge of the data and cells without data let water out.",
        reads=(LayerSpec("ground", "m", "bare ground"),),
        makes=(
            LayerSpec("filled", "m", "ground with every hollow filled to its rim"),
            LayerSpec("ponding_m", "m", "depth of the hollow the cell lies in, below its rim"),
        ),
        parameters=(ENGINE,),
        source="Barnes, Lehman & Mulla (2014), Computers & Geosciences 62:117-127",
    ),
    _run,
)
