"""Sun at noon in midwinter, the trade's own test of shade."""

from __future__ import annotations

import numpy as np

from tunnelsite.core.amounts import percent
from tunnelsite.core.criterion import Criterion, Placements
from tunnelsite.core.describe import Description, LayerSpec
from tunnelsite.core.rubric import Rubric

NOON_SUN = LayerSpec("noon_sun", "1", "1 = in the sun at noon of the winter solstice")


def noon_clear(site: Placements) -> np.ndarray:
    """Share of the footprint that is in the sun at true solar noon of the winter solstice; not assessed in polar night."""
    return site.footprint_mean("noon_sun")


NOON = Criterion(
    Description(
        "noon",
        "Noon sun in midwinter",
        "Share of the footprint in the sun at true solar noon of the winter solstice: December in the north, June in the south.",
        reads=(NOON_SUN,),
        unit="1",
    ),
    noon_clear,
    {"any": Rubric(full_at=1.0, none_at=0.0, weight=0.0, source="trees-arizona, noon-weight")},
    words=percent,
)
