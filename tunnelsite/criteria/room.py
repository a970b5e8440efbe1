"""Room round the house, for the snow it sheds and the machine that clears it."""

from __future__ import annotations

import numpy as np

from tunnelsite.core.criterion import Criterion, Placements
from tunnelsite.core.describe import Description, LayerSpec
from tunnelsite.core.rubric import Rubric

STANDING_DISTANCE = LayerSpec("standing_distance_m", "m", "distance to the nearest thing that stands")


def snow_room(site: Placements) -> np.ndarray:
    """Distance [m] from the footprint to the nearest thing that stands, 100 m where nothing is nearer; known to a cell."""
    return site.footprint_min("standing_distance_m")


SNOW_ROOM = Criterion(
    Description(
        "snow_room",
        "Room for snow and machines",
        "Distance from the footprint to the nearest tree, hedge or building, in which shed snow lies and a machine passes.",
        reads=(STANDING_DISTANCE,),
        unit="m",
    ),
    snow_room,
    {"any": Rubric(full_at=12 * 0.3048, none_at=0.0, weight=0.5, source="snow-vermont, snow-twelve-feet, snow-curve")},
    needs=("standing",),
)
