"""Shelter from the wind."""

from __future__ import annotations

import numpy as np

from tunnelsite.core.amounts import percent
from tunnelsite.core.criterion import Criterion, Placements
from tunnelsite.core.describe import Description, LayerSpec
from tunnelsite.core.rubric import Rubric

WIND_SHELTER = LayerSpec("wind_shelter", "1", "shelter from the wind, 1 = in full lee")


def shelter(site: Placements) -> np.ndarray:
    """Mean over the footprint of the shelter 0..1 behind what stands upwind."""
    return site.footprint_mean("wind_shelter")


WIND = Criterion(
    Description(
        "wind",
        "Shelter from the wind",
        "How well the footprint lies in the lee of trees, hedges and buildings for the winds given. Snow drifts in the same lee (NRCS: "
        "at least 100 ft from the windward row in snow country), and dense hedges stop passive venting. A farm house counts as "
        "exposure C unless shown otherwise (ASCE 7-16, 26.7); shelter lowers no design load. What stands beyond the land that was read "
        "(`--halo`) shelters nothing.",
        reads=(WIND_SHELTER,),
        unit="1",
    ),
    shelter,
    {
        "any": Rubric(
            full_at=1.0, none_at=0.25, weight=0.5, source="windbreak-nrcs, windbreak-purdue, wind-weight, wind-none"
        )
    },
    needs=("wind", "standing"),
    words=percent,
)
