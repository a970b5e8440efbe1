"""Valley floors and other low ground, to which cold air drains on still, clear nights."""

from __future__ import annotations

from tunnelsite.core.describe import Description, LayerSpec, Parameter
from tunnelsite.core.layers import Layer
from tunnelsite.core.process import Inputs, Process, Progress, Values
from tunnelsite.kernels.terrain.low_ground import depth_below_surroundings
from tunnelsite.processes.on_blocks import on_blocks


def _run(inputs: Inputs, parameters: Values, progress: Progress) -> dict[str, Layer]:
    ground = inputs["ground"]
    reach_m = parameters["reach_m"]
    values = on_blocks(
        ground,
        parameters["scale_m"],
        lambda means, side_m: depth_below_surroundings(means, max(1, round(reach_m / side_m))),
    )
    progress("low ground", 1.0)
    return {"valley_depth_m": Layer(values, "m", "Depth below the land round it", ground.cell_m)}


PROCESS = Process(
    Description(
        "low_ground",
        "Low ground",
        "How much lower each place lies than the mean of the land within `reach_m`, from ground averaged over `scale_m`: valley floors "
        "and hollows are deep, slopes 0, hills below 0. Cold air drains down to low ground on still, clear nights, in valleys that stay "
        "open downhill as well as in hollows. Near the end of the data it is the mean of the land that is known; where that is less "
        "than a quarter, as beyond a corner, the depth is not known.",
        reads=(LayerSpec("ground", "m", "bare ground"),),
        makes=(LayerSpec("valley_depth_m", "m", "depth below the mean of the land round it"),),
        parameters=(
            Parameter("reach_m", "how far the land round a place reaches", 250.0, "m", 10.0, 10_000.0),
            Parameter("scale_m", "side of the square over which heights are averaged", 10.0, "m", 0.1, 1000.0),
        ),
        source="cold air pools in depressions or valleys, where the ground is low among its surroundings and curved like a hollow: "
        "Lundquist, Pepin & Rochford (2008), Journal of Geophysical Research 113:D22107; the measure and its reach are ours",
    ),
    _run,
)
