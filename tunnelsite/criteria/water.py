"""Criteria on water: what runs through the pad, what stands on it, and surfaces that look like open water."""

from __future__ import annotations

import numpy as np

from tunnelsite.core.amounts import yes_or_no
from tunnelsite.core.criterion import Criterion, Placements
from tunnelsite.core.describe import Description, LayerSpec
from tunnelsite.core.rubric import Rubric

UPSLOPE = LayerSpec("upslope_m2", "m2", "contributing area on the filled ground")
PONDING = LayerSpec("ponding_m", "m", "depth of the hollow the cell lies in, below its rim")
WETNESS = LayerSpec("wetness", "1", "topographic wetness index")
WATER_LIKE = LayerSpec("water_like", "1", "1 where the ground is exactly level over a large patch, as open water is")


def upslope(site: Placements) -> np.ndarray:
    """Largest contributing area [m2] crossing the pad."""
    return site.pad_max("upslope_m2")


def ponding(site: Placements) -> np.ndarray:
    """Greatest depth [m] of standing water on the pad if every hollow filled to its rim."""
    return site.pad_max("ponding_m")


def wetness(site: Placements) -> np.ndarray:
    """Mean topographic wetness index over the footprint."""
    return site.footprint_mean("wetness")


def water_like(site: Placements) -> np.ndarray:
    """1 where any part of the pad looks like open water, else 0."""
    return site.pad_max("water_like")


DRAINAGE = Criterion(
    Description(
        "drainage",
        "Water from uphill",
        "The largest area of land that drains through the pad: what a swale uphill would have to divert.",
        reads=(UPSLOPE,),
        unit="m2",
    ),
    upslope,
    {
        "any": Rubric(
            full_at=500.0,
            none_at=10_000.0,
            limit=50_000.0,
            weight=1.5,
            source="water-divert, water-minnesota, water-areas",
        )
    },
)
PONDING_DEPTH = Criterion(
    Description(
        "ponding",
        "Ponding",
        "How deep water can stand on the pad before it finds a way out.",
        reads=(PONDING,),
        unit="m",
    ),
    ponding,
    {
        "any": Rubric(
            full_at=0.10,
            none_at=0.30,
            limit=0.50,
            weight=1.5,
            source="crown-fall, water-minnesota, usgs-ql2, water-ponding-depths",
        )
    },
)
# Only where the project asks for it: it costs another sharing out of flow, and water that gathers is judged by `drainage` already.
WET_GROUND = Criterion(
    Description(
        "wetness",
        "Topographic wetness",
        "How much water gathers and how slowly it leaves: ln(a / tan b), mean over the footprint. It compares places of one run: it "
        "depends on the cell size and no value of it is known to be wet. Measured only where it has a weight or a rubric.",
        reads=(WETNESS,),
        unit="1",
    ),
    wetness,
    {"any": Rubric(full_at=6.0, none_at=12.0, weight=0.0, source="beven-kirkby, wetness-curve")},
    needs=("asked",),
)
OPEN_WATER = Criterion(
    Description(
        "water_like",
        "Looks like open water",
        "Elevation models show large ponds and lakes as perfectly level ground, small ones as a calm patch inside a rim; nothing is "
        "offered there. Only water of about 2 acres (8,000 m2) and more has to be levelled in lidar products, so a farm pond can pass for "
        "ground: give ponds as a keep-out.",
        reads=(WATER_LIKE,),
        unit="1",
    ),
    water_like,
    {"any": Rubric(full_at=0.0, none_at=1.0, limit=0.5, weight=0.0, source="usgs-hydroflattening")},
    firm=True,
    limit_by="keep_water_like",
    words=yes_or_no,
)
