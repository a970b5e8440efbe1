"""The way the ground faces."""

from __future__ import annotations

from tunnelsite.core.describe import Description, LayerSpec
from tunnelsite.core.layers import Layer
from tunnelsite.core.needs import supplied
from tunnelsite.core.process import Inputs, Process, Progress, Values
from tunnelsite.kernels.terrain import slope as terrain
from tunnelsite.processes.by_rows import by_rows


def _run(inputs: Inputs, parameters: Values, progress: Progress) -> dict[str, Layer]:
    ground = inputs["ground"]
    facing = terrain.aspect(ground.values, *ground.cell_m)
    progress("aspect", 1.0)
    return {"aspect": Layer((facing + (parameters["bearing_deg"] - 90.0)) % 360.0, "deg", "Aspect", ground.cell_m)}


PROCESS = Process(
    Description(
        "aspect",
        "Aspect",
        "Azimuth of the downslope direction, clockwise from north; no data on level ground, where it is undefined, and where "
        "the 3 x 3 window is incomplete.",
        reads=(LayerSpec("ground", "m", "bare ground"),),
        makes=(LayerSpec("aspect", "deg", "azimuth of the downslope direction"),),
        parameters=(supplied("bearing_deg"),),
        source="horn-1981",
    ),
    _run,
    by_rows(_run, "aspect"),
)
