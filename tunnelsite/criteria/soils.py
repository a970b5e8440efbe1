"""How well the soil drains."""

from __future__ import annotations

import numpy as np

from tunnelsite.core.criterion import Criterion, Placements
from tunnelsite.core.describe import Description, LayerSpec
from tunnelsite.core.rubric import Rubric

DRAINAGE_CLASS = LayerSpec("drainage_class", "1", "0 excessively to 6 very poorly drained")
DRAINAGE_LEAST = LayerSpec("drainage_least", "1", "drainage class where it is known, 0 where it is not: never too wet")
POORLY = 5.0
SOURCE = (
    "well or moderately well drained wanted, somewhat poorly only with tile or a raised pad (from memory); free water within 10 in "
    "in poorly drained soil (two secondary texts, seen)"
)


def drainage_class(site: Placements) -> np.ndarray:
    """Worst drainage class under the pad: 0 excessively, 2 well, 4 somewhat poorly, 6 very poorly drained.

    Not assessed where the class of any cell of the pad is unknown, except where the known part is poorly drained already.
    """
    worst, least = site.pad_max("drainage_class"), site.pad_max("drainage_least")
    return np.where(np.isnan(worst) & (least >= POORLY), least, worst)


SOILS = Criterion(
    Description(
        "soils",
        "Soil drainage",
        "The worst natural drainage class under the pad, by the soil map: 0 excessively, 1 somewhat excessively, 2 well, 3 moderately "
        "well, 4 somewhat poorly, 5 poorly, 6 very poorly drained. Soil maps are coarse: dig a pit.",
        reads=(DRAINAGE_CLASS, DRAINAGE_LEAST),
        unit="class 0-6",
        source=SOURCE,
    ),
    drainage_class,
    {
        "in-ground": Rubric(full_at=3.0, none_at=5.0, weight=1.0, source=SOURCE),
        "any": Rubric(full_at=3.0, none_at=6.0, weight=0.5, source=SOURCE),
    },
    needs=("soils",),
)
