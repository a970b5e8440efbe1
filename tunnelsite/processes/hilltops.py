"""Hilltops, ridges and brows over which the wind speeds up."""

from __future__ import annotations

import numpy as np

from tunnelsite.core.describe import Description, LayerSpec, Parameter
from tunnelsite.core.layers import Layer
from tunnelsite.core.process import Inputs, Process, Progress, Values
from tunnelsite.kernels.air.topographic_factor import greatest_factor
from tunnelsite.processes.on_blocks import on_blocks
from tunnelsite.processes.wanted_cells import WINDOWS, wanted_of


def _run(inputs: Inputs, parameters: Values, progress: Progress) -> dict[str, Layer]:
    ground = inputs["ground"]
    wanted = wanted_of(inputs, ground.values.shape, "hilltops")

    def factor(heights: np.ndarray, side_m: float) -> np.ndarray:
        # a cell's value lies between those of its block and of the blocks beside it
        blocks = None if wanted is None else wanted.blocks(round(side_m / ground.cell_m[0]), 1)
        found: np.ndarray = greatest_factor(heights, side_m, blocks)
        return found

    values = on_blocks(ground, parameters["scale_m"], factor)
    progress("hilltops", 1.0)
    return {"topographic_factor": Layer(values, "1", "Topographic factor of wind pressure", ground.cell_m)}


PROCESS = Process(
    Description(
        "hilltops",
        "Wind over hilltops",
        "By how much wind pressure at the ground grows over ridges, hills and escarpments: the greatest topographic factor Kzt of eight "
        "winds, features of 50 to 800 m read from the ground averaged over `scale_m`. A screening: that a feature stands alone and sticks "
        "out of its surroundings is not tested, so it is never too low by that.",
        reads=(LayerSpec("ground", "m", "bare ground"), WINDOWS),
        makes=(LayerSpec("topographic_factor", "1", "greatest topographic factor of wind pressure, 1 = none"),),
        parameters=(Parameter("scale_m", "side of the square over which heights are averaged", 10.0, "m", 0.1, 100.0),),
        source="ASCE 7-16, section 26.8: no feature under 15 ft counts in open country, nor one with H/Lh under 0.2",
    ),
    _run,
)
