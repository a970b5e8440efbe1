"""Criteria that read the shape of the natural ground: pitch, roughness, crown."""

from __future__ import annotations

import numpy as np

from tunnelsite.core.criterion import Criterion, Placements, Truth
from tunnelsite.core.describe import Description, LayerSpec
from tunnelsite.core.rubric import Rubric
from tunnelsite.kernels.expected import steeper_slope

GROUND = LayerSpec("ground", "m", "bare ground")
SMOOTH_M = (
    0.05  # where full marks for roughness and crown end: rounding that makes larger errors hides what they look for
)
PITCH_SOURCES = "pitch-tolerance, pitch-umass, pitch-nrcs-pennsylvania, pitch-missouri, pitch-curve"


def pitch(site: Placements) -> np.ndarray:
    """The steeper of the two slopes [%] of the least-squares plane of the natural ground under the footprint."""
    plane = site.plane()
    found: np.ndarray = 100 * np.fmax(np.abs(plane.slope_along), np.abs(plane.slope_across))
    return found


def true_pitch(site: Placements, measure: np.ndarray) -> Truth:
    """Mean and standard error [%] of the steeper true slope: noise alone makes level ground look a little steep or steep ground
    a little level, so the true pitch of the flattest of many placements is more than was measured."""
    plane, error = site.plane(), site.slope_errors()
    return Truth(*(100 * part for part in steeper_slope(plane.slope_along, plane.slope_across, *error)))


def roughness(site: Placements) -> np.ndarray:
    """Root mean square [m] of the ground off its plane under the footprint; not assessed where the model cannot show it."""
    return _where_shown(site, site.plane().rms_m)


def crown(site: Placements) -> np.ndarray:
    """Height [m] of the middle above the long edges by the quadratic across the width; positive sheds water. Not assessed where
    the model cannot show it."""
    return _where_shown(site, site.plane().crown_m)


def _where_shown(site: Placements, measure: np.ndarray) -> np.ndarray:
    rounded = site.frame.step_m / np.sqrt(12) > SMOOTH_M  # then ground reads as smooth and level whatever it is
    return np.full_like(measure, np.nan) if rounded or not site.shows_ground else measure


PITCH = Criterion(
    Description(
        "pitch",
        "Pitch of the natural ground",
        "The steeper slope of the plane fitted to the ground under the footprint, along or across the ridge.",
        reads=(GROUND,),
        unit="%",
    ),
    pitch,
    {"any": Rubric(full_at=100 / 192, none_at=10.0, limit=10.0, weight=2.0, source=PITCH_SOURCES)},
    truth=true_pitch,
)
ROUGHNESS = Criterion(
    Description(
        "roughness",
        "Roughness of the natural ground",
        "How far the ground departs from its own plane under the footprint.",
        reads=(GROUND,),
        unit="m",
    ),
    roughness,
    {"any": Rubric(full_at=0.05, none_at=0.30, weight=0.5, source="roughness-curve")},
)
CROWN = Criterion(
    Description(
        "crown",
        "Crown",
        "Whether the ground is higher in the middle than along the long sides, so that it sheds water: 5 cm are wanted, which is a fall "
        "of about 1 % to either side; level ground loses a quarter of the marks, a dished floor more.",
        reads=(GROUND,),
        unit="m",
    ),
    crown,
    {"any": Rubric(full_at=0.05, none_at=-0.15, weight=0.5, source="crown-fall, crown-curve")},
)
