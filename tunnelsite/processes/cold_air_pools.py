"""Hollows in which cold air collects on still, clear nights."""

from __future__ import annotations

from tunnelsite.core.describe import Description, LayerSpec, Parameter
from tunnelsite.core.layers import Layer
from tunnelsite.core.process import Inputs, Process, Progress, Values
from tunnelsite.kernels.air.cold_pool import cold_pool_depth


def _run(inputs: Inputs, parameters: Values, progress: Progress) -> dict[str, Layer]:
    ground = inputs["ground"]
    depth = cold_pool_depth(ground.values, ground.cell_m[0], parameters["scale_m"], lambda: progress("cold air", 0.3))
    progress("cold air", 1.0)
    return {"cold_pool_m": Layer(depth, "m", "Depth of the cold-air pool", ground.cell_m)}


PROCESS = Process(
    Description(
        "cold_air_pools",
        "Cold-air pools",
        "Depth below its rim of the hollow a cell lies in, on ground smoothed to the scale given. Cold air collects in hollows on "
        "still, clear nights, and banks and roads dam it; valleys that stay open downhill are not shown. In wind-borne (advection) "
        "frost it is the other way round: exposed slopes are coldest.",
        reads=(LayerSpec("ground", "m", "bare ground"),),
        makes=(LayerSpec("cold_pool_m", "m", "depth of the cold-air pool the cell lies in", half=True),),
        parameters=(
            Parameter("scale_m", "side of the square over which heights are averaged", 10.0, "m", 0.1, 1000.0),
        ),
        source="frost-fao, frost-scale",
    ),
    _run,
)
