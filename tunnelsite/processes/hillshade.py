"""Hillshade: how directly a distant light falls on the ground. It casts no shadow."""

from __future__ import annotations

from tunnelsite.core.describe import Description, LayerSpec, Parameter
from tunnelsite.core.layers import Layer
from tunnelsite.core.needs import supplied
from tunnelsite.core.process import Inputs, Process, Progress, Values
from tunnelsite.kernels.terrain import slope as terrain
from tunnelsite.processes.by_rows import by_rows

EXAGGERATION = Parameter(
    "exaggeration", "exaggeration of heights, for the shading", 1.0, "1", 1e-6, 1e6,
    was="z_factor", now="exaggeration, the same number",
)  # fmt: skip


def _run(inputs: Inputs, parameters: Values, progress: Progress) -> dict[str, Layer]:
    ground = inputs["ground"]
    azimuth = parameters["azimuth_deg"] - (parameters["bearing_deg"] - 90.0)
    cell = ground.cell_m if ground.cell_m[0] != ground.cell_m[1] else ground.cell_m[0]
    shade = terrain.hillshade(ground.values, cell, azimuth, parameters["elevation_deg"], parameters["exaggeration"])
    progress("hillshade", 1.0)
    return {"hillshade": Layer(shade, "1", "Hillshade", ground.cell_m)}


PROCESS = Process(
    Description(
        "hillshade",
        "Hillshade",
        "Cosine of the angle between the ground and a distant light, 0 to 255; facing away is 0; no data where the 3 x 3 "
        "window is incomplete.",
        reads=(LayerSpec("ground", "m", "bare ground"),),
        makes=(LayerSpec("hillshade", "1", "0 to 255"),),
        parameters=(
            Parameter("azimuth_deg", "azimuth of the light, clockwise from north", 315.0, "deg", 0.0, 360.0),
            Parameter("elevation_deg", "height of the light above the horizon", 45.0, "deg", 0.0, 90.0),
            EXAGGERATION,
            supplied("bearing_deg"),
        ),
        source="horn-1981",
    ),
    _run,
    by_rows(_run, "hillshade"),
)
