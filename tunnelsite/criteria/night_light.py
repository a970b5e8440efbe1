"""Light at night, which keeps short-day crops from flowering."""

from __future__ import annotations

import numpy as np

from tunnelsite.core.criterion import Criterion, Placements
from tunnelsite.core.describe import Description, LayerSpec
from tunnelsite.core.rubric import Rubric

NIGHT_LUX = LayerSpec("night_lux", "lx", "light of the lamps at night")


def night_lux(site: Placements) -> np.ndarray:
    """Light [lx] of the lamps at the footprint's brightest point."""
    return site.footprint_max("night_lux")


# Weight 0: only short-day crops respond, and whether the house holds any is not known. For these the project file sets a weight,
# and a limit of 10 lx.
NIGHT_LIGHT = Criterion(
    Description(
        "night_light",
        "Night light",
        "Light of the given lamps at the footprint's brightest point, on leaves that face each lamp. For short-day crops give it a "
        "weight, and a limit of 10 lx. Red-rich lamps (high-pressure sodium) disturb more for each lux.",
        reads=(NIGHT_LUX,),
        unit="lx",
    ),
    night_lux,
    {"any": Rubric(full_at=0.1, none_at=1.0, weight=0.0, source="moon-kyba, night-flowering, night-bands")},
    needs=("lamps",),
)
