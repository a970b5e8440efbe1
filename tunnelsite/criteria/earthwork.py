"""What it takes to grade the pad, judged by the deepest cut (in-ground houses) or the volume (container houses)."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from tunnelsite.core.criterion import Criterion, Placements, Truth
from tunnelsite.core.describe import Description
from tunnelsite.core.needs import supplied
from tunnelsite.core.rubric import Rubric
from tunnelsite.criteria.ground import GROUND

SHRINK = supplied("shrink")


def deepest_cut(site: Placements, shrink: float) -> np.ndarray:
    """Deepest cut [m] when the pad is graded to its design plane."""
    return site.grading(shrink).max_cut_m


def cut_depth(site: Placements, shrink: float) -> np.ndarray:
    """Cut volume per area of pad [m] when the pad is graded to its design plane."""
    return site.grading(shrink).cut_m3 / site.pad.area_m2


def true_deepest_cut(site: Placements, measure: np.ndarray, shrink: float) -> Truth:
    """Mean and standard error [m] of the true deepest cut, see `_true`: a pad that is s too steep over its length L is cut s L / 2 deep."""
    root = np.sqrt(shrink)
    return _true(site, measure, shrink, _Tilted(_both_ends, 2.0 * root / (1.0 + root), 2.0), DEEPEST_BY_HEIGHT)


def true_cut_depth(site: Placements, measure: np.ndarray, shrink: float) -> Truth:
    """Mean and standard error [m] of the true cut over the pad, see `_true`: such a pad is cut s L / 8 on average."""
    root = np.sqrt(shrink)
    return _true(site, measure, shrink, _Tilted(_wedges, (2.0 * root / (1.0 + root)) ** 2, 8.0), VOLUME_BY_HEIGHT)


# Shares of an error of a single height in that of the deepest cut and of the cut's mean depth: what is kept of the ground's shape, or
# taken for error, is off by so much. Set on simulated ground (tests/criteria/test_earthwork.py).
DEEPEST_BY_HEIGHT, VOLUME_BY_HEIGHT = 0.3, 0.04


class _Tilted(NamedTuple):
    """A pad that is too steep: `depth` from what it falls too much along and across [m], by what cut that does not match its fill
    one to one changes it, and the part of the length that an error of the slope moves it by."""

    depth: Callable[[np.ndarray, np.ndarray], np.ndarray]
    balance: float
    part: float


def _true(site: Placements, measure: np.ndarray, shrink: float, tilted: _Tilted, by_height: float) -> Truth:
    """What is known of a true depth, from the measured one.

    What the measure owes to the tilt is too much: an error either way makes level ground steep, none makes it flatter than level. The
    excess is taken off as it shows at the measured slopes (bias corrected by its own estimate: Efron & Tibshirani 1993, An
    Introduction to the Bootstrap, chapter 10). Of what it owes to the ground's shape as much stays as is surely no error.
    """
    left, pad = site.feasible(), site.pad  # few are left by now
    plane, errors, kept = site.plane(), site.slope_errors(), site.grading(shrink).kept[left]
    ways = [
        (abs(slope[left]) - site.pad_pitch, error[left], size, excess)
        for slope, error, size, excess in zip(
            (plane.slope_along, plane.slope_across),
            errors,
            (pad.length_m, pad.width_m),
            site.slope_excess(),
            strict=True,
        )
    ]
    shown = tilted.balance * tilted.depth(*(np.maximum(beyond, 0.0) * size for beyond, _, size, _ in ways))
    expected = tilted.balance * tilted.depth(*(excess.mean * size for _, _, size, excess in ways))
    variance = sum(excess.chance * (error * size / tilted.part) ** 2 for _, error, size, excess in ways)
    sure = site.pad_ripple().sure(kept)
    truth = Truth(*(np.full(left.shape, np.nan, np.float32) for _ in Truth._fields))
    truth.mean[left] = 2.0 * shown - expected + sure * (measure[left] - shown)
    truth.se[left] = np.sqrt(variance + (by_height * site.elevation_sd()[left]) ** 2)
    return truth


def _both_ends(along_m: np.ndarray, across_m: np.ndarray) -> np.ndarray:
    """Deepest cut of a pad that falls so much too far along and across [m]: at a corner."""
    found: np.ndarray = (along_m + across_m) / 2.0
    return found


def _wedges(along_m: np.ndarray, across_m: np.ndarray) -> np.ndarray:
    """Mean cut of such a pad [m]: (a^2 + b^2 / 3) / (8 a) for falls a >= b (derived: the mean of (a x + b y)+ over the pad)."""
    steep, gentle = np.fmax(along_m, across_m), np.fmin(along_m, across_m)
    found: np.ndarray = steep / 8.0 + np.divide(gentle**2, 24.0 * steep, out=np.zeros(steep.shape), where=steep > 0.0)
    return found


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
