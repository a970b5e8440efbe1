"""Frost: whether the spot lies where cold air collects."""

from __future__ import annotations

import numpy as np

from tunnelsite.core.criterion import Criterion, Placements
from tunnelsite.core.describe import Description, LayerSpec
from tunnelsite.core.rubric import Rubric

COLD_POOL = LayerSpec("cold_pool_m", "m", "depth of the cold-air pool the cell lies in")


def cold_pool(site: Placements) -> np.ndarray:
    """Mean over the footprint of the depth [m] of the hollow it lies in, on smoothed ground."""
    return site.footprint_mean("cold_pool_m")


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
