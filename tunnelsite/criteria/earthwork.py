"""What it takes to grade the pad, judged by the deepest cut (in-ground houses) or the volume (container houses)."""

from __future__ import annotations

import numpy as np

from tunnelsite.core.criterion import Criterion, Placements
from tunnelsite.core.describe import Description, Parameter
from tunnelsite.core.rubric import Rubric
from tunnelsite.criteria.ground import GROUND

SHRINK = Parameter("shrink", "cut needed for each m3 of compacted fill", 1.0, "m3/m3", 1.0, 2.0)


def deepest_cut(site: Placements, shrink: float) -> np.ndarray:
    """Deepest cut [m] when the pad is graded to its design plane."""
    return site.grading(shrink).max_cut_m


def cut_depth(site: Placements, shrink: float) -> np.ndarray:
    """Cut volume per area of pad [m] when the pad is graded to its design plane."""
    return site.grading(shrink).cut_m3 / site.pad.area_m2


DEEPEST_CUT = Criterion(
    Description(
        "deepest_cut",
        "Deepest cut",
        "How deep the topsoil is cut when the pad is graded to the design plane: in-ground crops may lose little soil.",
        reads=(GROUND,),
        parameters=(SHRINK,),
        unit="m",
    ),
    deepest_cut,
    {
        "in-ground": Rubric(
            full_at=0.0, none_at=0.15, limit=0.15, weight=2.0, source="earthwork-root-zone, earthwork-topsoil-cut"
        ),
        "any": Rubric(full_at=0.0, none_at=1.0, limit=1.5, weight=0.5, source="earthwork-depths"),
    },
)
EARTHWORK = Criterion(
    Description(
        "earthwork",
        "Earth to move",
        "Volume of cut for grading the pad, as a depth over the pad.",
        reads=(GROUND,),
        parameters=(SHRINK,),
        unit="m",
    ),
    cut_depth,
    {
        "in-ground": Rubric(full_at=0.0, none_at=0.10, weight=1.0, source="earthwork-depths"),
        "any": Rubric(full_at=0.0, none_at=0.25, limit=0.50, weight=2.0, source="earthwork-depths"),
    },
)
