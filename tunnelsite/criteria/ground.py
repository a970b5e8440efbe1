"""Criteria that read the shape of the natural ground: pitch, roughness, crown."""

from __future__ import annotations

import numpy as np

from tunnelsite.core.criterion import Criterion, Placements
from tunnelsite.core.describe import Description, LayerSpec
from tunnelsite.core.rubric import Rubric

GROUND = LayerSpec("ground", "m", "bare ground")
PITCH_SOURCES = "pitch-tolerance, pitch-umass, pitch-nrcs-pennsylvania, pitch-missouri, pitch-curve"


def pitch(site: Placements) -> np.ndarray:
    """The steeper of the two slopes [%] of the least-squares plane of the natural ground under the footprint."""
    plane = site.plane()
    return 100 * np.fmax(np.abs(plane.slope_along), np.abs(plane.slope_across))


def roughness(site: Placements) -> np.ndarray:
    """Root mean square [m] of the ground off its plane under the footprint."""
    return site.plane().rms_m


def crown(site: Placements) -> np.ndarray:
    """Height [m] of the middle above the long edges by the quadratic across the width; positive sheds water."""
    return site.plane().crown_m


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
        "Whether the ground is higher in the middle than along the long sides, so that it sheds water.",
        reads=(GROUND,),
        unit="m",
    ),
    crown,
    {"any": Rubric(full_at=0.0, none_at=-0.15, weight=0.5, source="crown-fall, crown-curve")},
)
