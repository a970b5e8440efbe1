"""Height above the nearest line that gathers water, and distance from it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tunnelsite.core.describe import Description, LayerSpec, Parameter
from tunnelsite.core.layers import Layer
from tunnelsite.core.process import Inputs, Process, Progress, Values
from tunnelsite.kernels.water.drainage_lines import distance_from_drainage, height_above_drainage
from tunnelsite.processes import contributing_area
from tunnelsite.processes.cut_channels import cut_channels
from tunnelsite.processes.cut_off_beds import cut_off_beds
from tunnelsite.processes.entering_valleys import entering_valleys

FLOW = ("ponding_m", "flow_direction", "upslope_m2", "open_edge")
BED_M2 = 1000.0  # contributing area of a cell of a channel's bed: no less than where the smallest channels begin


def _run(inputs: Inputs, parameters: Values, progress: Progress) -> dict[str, Layer]:
    ground = inputs["ground"]
    if any(name not in inputs for name in FLOW):
        inputs = dict(inputs) | contributing_area.PROCESS(
            {k: v for k, v in inputs.items() if k not in FLOW},
            {},
            lambda what, share: progress("drainage lines", share / 2),
        )
    ponding, direction, area, open_edge = (inputs[name].values for name in FLOW)
    direction, least = direction.astype(np.uint8, copy=False), parameters["line_m2"]
    channels = cut_channels(ground.values, ground.cell_m[0], parameters["channel_m"])
    progress("drainage lines", 0.6)
    lines = entering_valleys(ground.values, direction, open_edge, ground.cell_m[0])
    lines |= area >= least
    lines |= channels & (area >= BED_M2)  # the bed, where water gathers, not the foot of the bank

    def pause() -> None:
        progress("drainage lines", 0.65)  # what lies in files may leave memory each time

    pause()
    height = height_above_drainage(ground.values, ponding, direction, lines, parameters["sure_height_m"], pause)
    progress("drainage lines", 0.7)
    beds = cut_off_beds(ground.values, height, direction, ground.cell_m[0])
    progress("drainage lines", 0.75)
    height[beds] = 0.0
    known = ~np.isnan(area)
    channels &= known  # from the top of the bank
    lines |= channels
    lines |= beds
    del channels
    progress("drainage lines", 0.8)
    away = distance_from_drainage(lines, known, ground.cell_m, parameters["most_m"], parameters["sure_m"])
    del lines, known
    progress("drainage lines", 1.0)
    return {
        "drainage_height_m": Layer(height, "m", "Height above the nearest drainage", ground.cell_m),
        "drainage_distance_m": Layer(away, "m", "Distance from the nearest drainage", ground.cell_m),
        "river_bed": Layer(beds.astype(np.float32), "1", "May be a river's bed", ground.cell_m),
    }


PROCESS = Process(
    Description(
        "drainage_lines",
        "Height above and distance from drainage",
        "A line is every cell through which at least `line_m2` of land drains, a stream, a ditch, a swale, and whatever has the "
        "shape of one: ground that lies `channel_m` or more below both its banks, at most 20 m wide and at least 60 m long (cells "
        "up to 5 m), and the way down of each valley that enters over the end of the data, 1 m or more below its sides within 100 "
        "m: what drains down it is not known. Level, low ground at the foot of a bank, over whose end water leaves the data before "
        "it meets a line, may be a river's bed or flood plain (`river_bed`) and counts as one: height and distance are 0 there. The height "
        "is that above the water level of the first line on a cell's way down; the distance is straight, to the nearest line of all, "
        "or to the top of a channel's bank. Bare-earth models know no pipes and no culverts. A screening keeps both to 1 cm below "
        "16 m, 0.1 m below 200 m.",
        reads=(
            LayerSpec("ground", "m", "bare ground"),
            LayerSpec("ponding_m", "m", "depth of hollows, from contributing_area", optional=True),
            LayerSpec("flow_direction", "1", "neighbour each cell drains to, from contributing_area", optional=True),
            LayerSpec("upslope_m2", "m2", "contributing area, from contributing_area", optional=True),
            LayerSpec("open_edge", "1", "where that is a lower bound, from contributing_area", optional=True),
            *(replace(spec, unless=FLOW) for spec in contributing_area.BEYOND),
        ),
        makes=(
            LayerSpec("drainage_height_m", "m", "height above the nearest line that gathers water", half=True),
            LayerSpec("drainage_distance_m", "m", "distance from the nearest line that gathers water", half=True),
            LayerSpec(
                "river_bed",
                "1",
                "1 = may be the bed or flood plain of a river that the end of the data cuts off",
                half=True,
            ),
        ),
        parameters=(
            Parameter(
                "line_m2", "contributing area from which on water has a line of its own", 50_000.0, "m2", 100.0, 1e9
            ),
            Parameter("channel_m", "depth below both banks from which on ground is a channel", 0.5, "m", 0.1, 100.0),
            Parameter("most_m", "greater distances are given as this", 200.0, "m", 1.0, 10_000.0),
            Parameter(
                "sure_m",
                "distance not known where the edge of the data is nearer than this and any line",
                30.0,
                "m",
                0.0,
                1e4,
            ),
            Parameter(
                "sure_height_m",
                "least height known where the way down leaves the data before it meets a line",
                1.5,
                "m",
                0.0,
                1e4,
            ),
        ),
        source="Nobre et al. (2011), Journal of Hydrology 404:13-29; distances: Felzenszwalb & Huttenlocher (2012), Theory of Computing "
        "8:415-428; channels: the closing less the surface, Serra (1982), Image Analysis and Mathematical Morphology, with widths and "
        "depths of ours; 5 ha, where channels begin lies between about 0.1 and 10 ha and more: Montgomery & Dietrich (1988), Nature "
        "336:232-234; the default is ours, where `drainage` no longer lets a house stand in its way",
    ),
    _run,
)
