"""Drainage: how much land sheds its water through each cell."""

from __future__ import annotations

import numpy as np

from tunnelsite.core.describe import Description, LayerSpec, Parameter
from tunnelsite.core.layers import Layer
from tunnelsite.core.process import Process
from tunnelsite.kernels import dinfinity, fill, flow, upslope
from tunnelsite.kernels.bands import bands
from tunnelsite.processes.fill_depressions import ENGINE, filled_by


def _run(inputs, parameters, progress) -> dict[str, Layer]:
    ground = inputs["ground"]
    filled = filled_by(parameters["engine"], ground.values, lambda: progress("drainage", 0.1))
    progress("drainage", 0.5)
    direction = flow.flow_direction(filled, *ground.cell_m)
    ponding = None
    if parameters["method"] == "d8":
        ponding = np.subtract(filled, ground.values, out=filled)  # the filled ground is not looked at again
        progress("drainage", 0.7)
        cells, open_edge = upslope.upslope_cells(direction)
        area, cell_m2 = cells.view(np.float32), np.float32(ground.cell_m[0] * ground.cell_m[1])
        for rows in bands(cells.shape):  # in the memory of the numbers
            area[rows] = np.where(cells[rows] == 0, np.float32(np.nan), cells[rows].astype(np.float32) * cell_m2)
    else:
        angle = dinfinity.flow_angle(filled, direction, ground.cell_m[0])
        area, open_edge = dinfinity.upslope_area_dinf(angle, ground.cell_m[0])
        area = area.astype(np.float32)
        ponding = fill.ponding_depth(ground.values, filled)
    progress("drainage", 1.0)
    return {
        "upslope_m2": Layer(area, "m2", "Contributing area", ground.cell_m),
        "open_edge": Layer(open_edge, "1", "Contributing area is a lower bound", ground.cell_m),
        "ponding_m": Layer(ponding, "m", "Depth of hollows", ground.cell_m),
    }


PROCESS = Process(
    Description(
        "flow_accumulation",
        "Flow accumulation",
        "Contributing area of each cell, its own included, on the depression-filled ground, by one steepest neighbour (D8) or "
        "shared between two (D-infinity).",
        reads=(LayerSpec("ground", "m", "bare ground"),),
        makes=(
            LayerSpec("upslope_m2", "m2", "contributing area"),
            LayerSpec("open_edge", "1", "1 where water may come from beyond the data: the area is a lower bound"),
            LayerSpec("ponding_m", "m", "depth of the hollow the cell lies in, below its rim"),
        ),
        parameters=(Parameter("method", "how flow is shared", "d8", choices=("d8", "d-infinity")), ENGINE),
        source="O'Callaghan & Mark (1984), CVGIP 28:323-344; Tarboton (1997), WRR 33(2):309-319",
    ),
    _run,
)
