"""Criteria on light and on what stands in the way."""

from __future__ import annotations

import numpy as np

from tunnelsite.core.amounts import percent
from tunnelsite.core.criterion import Criterion, Placements
from tunnelsite.core.describe import Description, LayerSpec
from tunnelsite.core.rubric import Rubric

BEAM_SHARE = LayerSpec("beam_share", "1", "beam energy received over the crop months / received with a flat horizon")
DARKEST = LayerSpec("beam_share_worst", "1", "the same in the crop month that loses most of its beam")
STANDING = LayerSpec("standing_m", "m", "height of what stands on the ground")


def beam_share(site: Placements) -> np.ndarray:
    """Mean over the footprint of the share of the crop months' beam energy that terrain, trees and buildings let through."""
    return site.footprint_mean("beam_share")


def darkest_month_share(site: Placements) -> np.ndarray:
    """Mean over the footprint of the share of its beam energy that each spot receives in the crop month that loses most there."""
    return site.footprint_mean("beam_share_worst")


def standing(site: Placements) -> np.ndarray:
    """Height [m] of the tallest thing standing on the pad."""
    return site.pad_max("standing_m")


SUN = Criterion(
    Description(
        "sun",
        "Sun in the darkest crop month",
        "Share of the direct light that reaches the footprint in the crop month that loses most of its own: a house is not to be shaded in "
        "any month with crops in it, and bright months do not make up for a dark one.",
        reads=(DARKEST,),
        unit="1",
    ),
    darkest_month_share,
    {"any": Rubric(full_at=0.98, none_at=0.60, weight=3.0, source="light-yield, sun-curve")},
    partly={"standing": "shade of trees and buildings (only the bare ground was given)"},
    words=percent,
)
SEASON_SUN = Criterion(
    Description(
        "season_sun",
        "Sun of all crop months",
        "Share of the direct light of all crop months together that reaches the footprint; to be seen beside `sun`, not weighed.",
        reads=(BEAM_SHARE,),
        unit="1",
    ),
    beam_share,
    {"any": Rubric(full_at=0.98, none_at=0.60, weight=0.0, source="light-yield, sun-curve")},
    words=percent,
)
NOTHING_STANDING = Criterion(
    Description(
        "standing",
        "Obstruction on the pad",
        "What the surface model shows on the pad: brush, trees, buildings. Lower things may be grass, a crop or the noise of two models, "
        "and are flagged from 0.5 m. What is drawn as an obstacle bars the pad by itself, however low.",
        reads=(STANDING,),
        unit="m",
    ),
    standing,
    {"any": Rubric(full_at=0.0, none_at=1.0, limit=1.0, weight=0.0, source="standing-on-the-pad")},
    firm=True,
    limit_by="standing_limit",
)
