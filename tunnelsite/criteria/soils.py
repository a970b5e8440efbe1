"""How well the soil drains."""

from __future__ import annotations

import numpy as np

from tunnelsite.core.criterion import Criterion, Placements
from tunnelsite.core.describe import Description, LayerSpec
from tunnelsite.core.rubric import Rubric
from tunnelsite.core.soil_classes import CLASSES

DRAINAGE_CLASS = LayerSpec("drainage_class", "1", "0 excessively to 6 very poorly drained")
DRAINAGE_LEAST = LayerSpec("drainage_least", "1", "drainage class where it is known, 0 where it is not: never too wet")
GROUP = LayerSpec("hydrologic_group", "1", "hydrologic soil group, 1 = A to 4 = D")
GROUP_LEAST = LayerSpec("hydrologic_least", "1", "hydrologic group where it is known, 0 where it is not: never too wet")
POORLY = 5.0
GROUP_D = 4.0
CLASS_SOURCES = "soil-classes, soil-drainage-wanted"


def drainage_class(site: Placements) -> np.ndarray:
    """Worst drainage class under the pad: 0 excessively, 2 well, 4 somewhat poorly, 6 very poorly drained.

    Not assessed where the class of any cell of the pad is unknown, except where the known part is poorly drained already.
    """
    worst, least = site.pad_max("drainage_class"), site.pad_max("drainage_least")
    return np.where(np.isnan(worst) & (least >= POORLY), least, worst)


def class_words(number: float) -> str:
    """The name of a drainage class."""
    return CLASSES[round(number)] if 0 <= round(number) < len(CLASSES) else f"class {number:g}"


def group_words(number: float) -> str:
    """The letter of a hydrologic soil group."""
    return "ABCD"[round(number) - 1] if 1 <= round(number) <= 4 else f"group {number:g}"


def hydrologic_group(site: Placements) -> np.ndarray:
    """Worst hydrologic soil group under the pad: 1 = A (takes in rain fast) to 4 = D (slowly, or water near the surface).

    Not assessed where the group of any cell of the pad is unknown, except where the known part is D already.
    """
    worst, least = site.pad_max("hydrologic_group"), site.pad_max("hydrologic_least")
    return np.where(np.isnan(worst) & (least >= GROUP_D), least, worst)


SOILS = Criterion(
    Description(
        "soils",
        "Soil drainage",
        "The worst natural drainage class under the pad, by the soil map: 0 excessively, 1 somewhat excessively, 2 well, 3 moderately "
        "well, 4 somewhat poorly, 5 poorly, 6 very poorly drained. Soil maps are coarse: dig a pit.",
        reads=(DRAINAGE_CLASS, DRAINAGE_LEAST),
        unit="class 0-6",
    ),
    drainage_class,
    {
        "in-ground": Rubric(full_at=2.0, none_at=5.0, weight=1.0, source=f"{CLASS_SOURCES}, soil-roots"),
        "any": Rubric(full_at=3.0, none_at=6.0, weight=0.5, source=CLASS_SOURCES),
    },
    needs=("soils",),
    words=class_words,
)

# Weight 0: the drainage class counts the same water. Where that is not mapped, the project gives this one its weight.
SOIL_GROUP = Criterion(
    Description(
        "soil_group",
        "Hydrologic soil group",
        "The slowest hydrologic soil group under the pad: 1 = A, 2 = B, 3 = C, 4 = D; of a dual group such as B/D the undrained one "
        "counts. Roof water has to soak in or be led away.",
        reads=(GROUP, GROUP_LEAST),
        unit="group 1-4",
    ),
    hydrologic_group,
    {"any": Rubric(full_at=2.0, none_at=4.0, weight=0.0, source="soil-groups, soil-group-curve")},
    needs=("soil_groups",),
    words=group_words,
)
