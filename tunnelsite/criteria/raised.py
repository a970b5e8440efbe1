"""Criterion: whether the ground under the pad is ground at all, or a roof or crown of a surface model."""

from __future__ import annotations

import numpy as np

from tunnelsite.core.amounts import yes_or_no
from tunnelsite.core.criterion import Criterion, Placements
from tunnelsite.core.describe import Description, LayerSpec
from tunnelsite.core.rubric import Rubric

RAISED_LAYER = LayerSpec(
    "raised", "1", "1 where the ground stands 2 m or more above what lies round it, in walls; -1 where below"
)


def raised(site: Placements) -> np.ndarray:
    """1 where any part of the pad stands in walls above its surroundings, else 0 or -1."""
    return site.pad_max("raised")


RAISED = Criterion(
    Description(
        "raised",
        "Stands on a roof or crown",
        "Roofs and tree crowns are level or soft pieces that stand 2 m or more above the ground round them, in walls. They are in the "
        "elevations where a surface model was given as bare ground; nothing is offered there.",
        reads=(RAISED_LAYER,),
        unit="1",
    ),
    raised,
    {"any": Rubric(full_at=0.0, none_at=1.0, limit=0.5, weight=0.0, source="raised-ground")},
    firm=True,
    words=yes_or_no,
)
