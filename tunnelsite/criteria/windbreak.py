"""Distance from trees and windbreaks, in their own heights."""

from __future__ import annotations

import numpy as np

from tunnelsite.core.criterion import Criterion, Placements
from tunnelsite.core.describe import Description, LayerSpec
from tunnelsite.core.rubric import Rubric

STANDING_HEIGHTS = LayerSpec("standing_heights", "1", "distance to what stands, in its own heights")


def windbreak(site: Placements) -> np.ndarray:
    """Distance from the footprint's nearest point to what stands, in its own heights; 30 where nothing is nearer."""
    return site.footprint_min("standing_heights")


# Only where the project or a preset asks for it: a distance for every class of heights takes as long as all the other steps.
WINDBREAK = Criterion(
    Description(
        "windbreak",
        "Distance from windbreaks",
        "How many of its own heights the nearest tree, hedge or building is away, whatever is lower than 3 m left out: clear of roots, "
        "falling limbs, leaves and drifts. That the house should still lie within its shelter is judged by `wind`, its shade by `sun`. "
        "Measured only where it has a weight or a rubric.",
        reads=(STANDING_HEIGHTS,),
        unit="heights",
    ),
    windbreak,
    {"any": Rubric(full_at=2.0, none_at=0.0, weight=0.0, source="windbreak-nrcs, windbreak-foot")},
    needs=("asked", "standing"),
)
