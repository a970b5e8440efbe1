"""What it takes to grade the pad, judged by the deepest cut (in-ground houses) or the volume (container houses)."""

from __future__ import annotations

import numpy as np

from tunnelsite.core.criterion import Criterion, Placements, Truth
from tunnelsite.core.describe import Description
from tunnelsite.core.needs import told
from tunnelsite.core.rubric import Rubric
from tunnelsite.criteria.ground import GROUND

SHRINK = told("shrink")


def deepest_cut(site: Placements, shrink: float) -> np.ndarray:
    """Deepest cut [m] when the pad is graded to its design plane."""
    return site.grading(shrink).max_cut_m


def cut_depth(site: Placements, shrink: float) -> np.ndarray:
    """Cut volume per area of pad [m] when the pad is graded to its design plane."""
    return site.grading(shrink).cut_m3 / site.pad.area_m2


def true_deepest_cut(site: Placements, measure: np.ndarray, shrink: float) -> Truth:
    """Mean and standard error [m] of the true deepest cut. What errors alone would show is off the measure already; the true cut is
    off by the tilt of the plane, at most at a corner, and by the errors of single heights."""
    return Truth(measure, _off(site, DEEPEST_BY_SLOPE, DEEPEST_BY_HEIGHT))


def true_cut_depth(site: Placements, measure: np.ndarray, shrink: float) -> Truth:
    """Mean and standard error [m] of the true cut over the pad."""
    return Truth(measure, _off(site, VOLUME_BY_SLOPE, VOLUME_BY_HEIGHT))


# Shares of an error of the slope over the pad's length (width), and of that of a single height, in the error of the deepest cut
# and of the cut's mean depth. A pad that falls s along its length L is cut s L / 2 deep and s L / 8 on average, less what the
# design plane takes up of it. Set on simulated ground: level, 0.3 % and 1 % under errors of 0.05 and 0.10 m alike over 5 m
# (tests/criteria/test_earthwork.py); with errors independent from cell to cell the
# mean depth errs less than is counted.
DEEPEST_BY_SLOPE, DEEPEST_BY_HEIGHT = 0.33, 0.23
VOLUME_BY_SLOPE, VOLUME_BY_HEIGHT = 0.07, 0.044


def _off(site: Placements, by_slope: float, by_height: float) -> np.ndarray:
    slopes, pad = site.slope_errors(), site.pad
    parts = (
        by_slope * slopes.along * pad.length_m,
        by_slope * slopes.across * pad.width_m,
        by_height * site.elevation_sd(),
    )
    return np.sqrt(sum(np.square(part) for part in parts))


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
    truth=true_deepest_cut,
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
    truth=true_cut_depth,
)
