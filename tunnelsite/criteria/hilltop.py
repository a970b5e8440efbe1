"""Hilltops and brows, over which the wind speeds up."""

from __future__ import annotations

import numpy as np

from tunnelsite.core.criterion import Criterion, Placements
from tunnelsite.core.describe import Description, LayerSpec
from tunnelsite.core.rubric import Rubric

TOPOGRAPHIC_FACTOR = LayerSpec("topographic_factor", "1", "greatest topographic factor of wind pressure, 1 = none")


def hilltop(site: Placements) -> np.ndarray:
    """Greatest topographic factor Kzt of wind pressure under the footprint."""
    return site.footprint_max("topographic_factor")


HILLTOP = Criterion(
    Description(
        "hilltop",
        "Wind over hilltops",
        "By how much the wind pressure at the ground grows over a ridge, a hill or the brow of a slope, whichever wind is the worst. A "
        "screening of the topographic factor of ASCE 7, not a design load: have wind loads confirmed by licensed practice.",
        reads=(TOPOGRAPHIC_FACTOR,),
        unit="1",
    ),
    hilltop,
    {"any": Rubric(full_at=1.0, none_at=2.0, weight=0.5, source="asce7-kzt, hilltop-marks")},
)
