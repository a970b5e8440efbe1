"""How far the ridge is off the bearing that was wanted."""

from __future__ import annotations

import numpy as np

from tunnelsite.core.criterion import Criterion, Placements
from tunnelsite.core.describe import Description
from tunnelsite.core.needs import supplied
from tunnelsite.core.rubric import Rubric


def off_bearing(site: Placements, bearing_deg: float, wanted_deg: float) -> np.ndarray:
    """Angle [deg] between the ridge and the wanted bearing, 0 to 90; the same for every placement of a frame."""
    turn = abs(bearing_deg - wanted_deg) % 180.0
    return np.full(site.feasible().shape, min(turn, 180.0 - turn), np.float32)


BEARING = Criterion(
    Description(
        "bearing",
        "Ridge off the wanted bearing",
        "How far the ridge is turned from the wanted bearing, where several bearings are tried.",
        parameters=(supplied("bearing_deg"), supplied("wanted_deg")),
        unit="deg",
    ),
    off_bearing,
    {"any": Rubric(full_at=10.0, none_at=45.0, weight=0.5, source="bearing-beam-model, ridge-disagree")},
    needs=("bearings",),
)
