"""Frost: whether the spot lies where cold air collects, in a hollow or on a valley's floor."""

from __future__ import annotations

import numpy as np

from tunnelsite.core.criterion import Criterion, Placements
from tunnelsite.core.describe import Description, LayerSpec
from tunnelsite.core.rubric import Rubric

COLD_POOL = LayerSpec("cold_pool_m", "m", "depth of the cold-air pool the cell lies in")
VALLEY_DEPTH = LayerSpec("valley_depth_m", "m", "depth below the mean of the land round it")


def cold_pool(site: Placements) -> np.ndarray:
    """Mean over the footprint of the depth [m] of the hollow it lies in, on smoothed ground."""
    return site.footprint_mean("cold_pool_m")


def low_ground(site: Placements) -> np.ndarray:
    """Mean over the footprint of how much lower it lies than the land within some hundred metres [m]."""
    return site.footprint_mean("valley_depth_m")


COLD_AIR = Criterion(
    Description(
        "cold_air",
        "Cold-air pool",
        "How deep the footprint lies in a hollow that holds cold air on still, clear nights. In wind-borne (advection) frost exposed "
        "slopes are colder. Hedges, and the pad's own cut, can dam cold air too and are not in it.",
        reads=(COLD_POOL,),
        unit="m",
    ),
    cold_pool,
    {"any": Rubric(full_at=0.3, none_at=3.0, weight=0.5, source="frost-fao, frost-depths")},
)
LOW_GROUND = Criterion(
    Description(
        "low_ground",
        "Cold air on low ground",
        "How much lower the footprint lies than the mean of the land within 250 m: cold air drains to valley floors on still, clear "
        "nights even where they stay open downhill, which `cold_air` does not see. In wind-borne frost it is the other way round.",
        reads=(VALLEY_DEPTH,),
        unit="m",
    ),
    low_ground,
    {"any": Rubric(full_at=0.5, none_at=5.0, weight=0.5, source="frost-fao, cold-air-lundquist, low-ground-marks")},
)
