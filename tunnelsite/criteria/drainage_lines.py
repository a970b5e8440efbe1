"""Criteria on lines that gather water: height above the nearest, distance from it, and water that passes beside the pad."""

from __future__ import annotations

import math

import numpy as np

from tunnelsite.core.amounts import yes_or_no
from tunnelsite.core.criterion import Criterion, Placements, Truth
from tunnelsite.core.describe import Description, LayerSpec, Parameter
from tunnelsite.core.rubric import Rubric
from tunnelsite.criteria.ground import GROUND
from tunnelsite.criteria.water import UPSLOPE
from tunnelsite.kernels.water import flow_beside as kernel

HEIGHT = LayerSpec("drainage_height_m", "m", "height above the nearest line that gathers water")
DISTANCE = LayerSpec("drainage_distance_m", "m", "distance from the nearest line that gathers water")
RIVER_BED_LAYER = LayerSpec(
    "river_bed", "1", "1 where the ground may be the bed of a river that the end of the data cuts off"
)
BUFFER_M = 35 * 0.3048


def height_above(site: Placements) -> np.ndarray:
    """Mean height [m] of the ground under the footprint above the line it drains to: what the finished floor stands above it."""
    return site.footprint_mean("drainage_height_m")


def true_height(site: Placements, measure: np.ndarray) -> Truth:
    """The same with the standard error of a difference of two heights that err independently; the mean under the house errs less."""
    return Truth(measure, math.sqrt(2.0) * site.elevation_sd())


def distance_from(site: Placements) -> np.ndarray:
    """Straight distance [m] from the pad's nearest cell to a line that gathers water."""
    return site.pad_min("drainage_distance_m")


def flow_beside(site: Placements, reach_m: float, clear_m: float, least_m2: float) -> np.ndarray:
    """Largest contributing area [m2] that passes within reach of the pad and not well below it; 0 = none of `least_m2` or more."""
    layers, cell = site.frame.layers, site.cell_m
    water = kernel.Water(layers["ground"], layers["upslope_m2"], least_m2, clear_m)
    pad = (site.pad.length_m / cell, site.pad.width_m / cell)
    found: np.ndarray = kernel.flow_beside(water, site.plane().mean_m, site.rows, pad, reach_m / cell)
    return found


def river_bed(site: Placements) -> np.ndarray:
    """1 where any part of the pad may lie in a river or on its flood plain, else 0."""
    return site.pad_max("river_bed")


RIVER_BED = Criterion(
    Description(
        "river_bed",
        "May be a river's bed",
        "Lidar shows moving water as smooth, level ground. Level, low ground at the foot of a bank, over whose end water leaves the data, "
        "may be a river that the data cut off, or its flood plain, and so may what lies hardly higher beside it: nothing is offered there. "
        "A low field at the end of the data looks the same: where you know that it is dry, allow it (`--keep-water-like`).",
        reads=(RIVER_BED_LAYER,),
        unit="1",
    ),
    river_bed,
    {"any": Rubric(full_at=0.0, none_at=1.0, limit=0.5, weight=0.0, source="cut-off-beds")},
    firm=True,
    limit_by="keep_water_like",
    words=yes_or_no,
)
DRAINAGE_HEIGHT = Criterion(
    Description(
        "drainage_height",
        "Height above the nearest drainage",
        "How high the ground stands above the stream, ditch or swale that it drains to, which is any line through which 5 ha or more "
        "drain, any cut channel and any valley that enters over the end of the data. It says nothing of a river's floods: ask for the "
        "floodplain map.",
        reads=(HEIGHT,),
        unit="m",
    ),
    height_above,
    {"any": Rubric(full_at=1.5, none_at=0.0, weight=1.0, source="hand, freeboard, drainage-height-marks")},
    truth=true_height,
)
DRAINAGE_DISTANCE = Criterion(
    Description(
        "drainage_distance",
        "Distance from the nearest drainage",
        "How far the pad stays from any stream, ditch or swale through which 5 ha or more drain, from the bank of any cut channel and "
        "from any valley that enters over the end of the data: room for a buffer and for the machine that clears it.",
        reads=(DISTANCE,),
        unit="m",
    ),
    distance_from,
    {"any": Rubric(full_at=BUFFER_M, none_at=0.0, weight=0.5, source="riparian-buffer, drainage-distance-weight")},
)
FLOW_BESIDE = Criterion(
    Description(
        "flow_beside",
        "Water that passes beside the pad",
        "The largest area of land whose water passes close to the pad without lying well below it: a stream or swale that reaches the "
        "house when it runs high. Water that lies lower, or passes farther off, does not count; smaller water that crosses the pad is "
        "judged by `drainage`.",
        reads=(GROUND, UPSLOPE),
        parameters=(
            Parameter("reach_m", "how far from the pad's edge water counts", BUFFER_M, "m", 0.0, 100.0),
            Parameter(
                "clear_m",
                "water this far below the ground's mean under the house does not reach it",
                0.6,
                "m",
                0.0,
                10.0,
            ),
            Parameter("least_m2", "smaller areas do not count", 10_000.0, "m2", 100.0, 1e9),
        ),
        unit="m2",
    ),
    flow_beside,
    {
        "any": Rubric(
            full_at=10_000.0, none_at=50_000.0, weight=1.0, source="riparian-buffer, freeboard, flow-beside-marks"
        )
    },
)
