"""How far it is to water, power, fuel or a road."""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import numpy as np

from tunnelsite.core.criterion import Criterion, Placements
from tunnelsite.core.describe import Description
from tunnelsite.core.rubric import Rubric

_SOURCES = {
    "water": "reach-water, reach-distances",
    "road": "reach-road, reach-distances",
    "power": "reach-power, reach-distances",
}
# A tunnel with crops in the ground is vented by hand: power is welcome there and a must under heated pots.
_IN_GROUND_WEIGHT = {"power": 0.25}


def distance_to(service: str, site: Placements) -> np.ndarray:
    """Straight distance [m] from the footprint to the nearest feature of a service."""
    return site.distance(site.frame.services[service])


def reach(service: str) -> Criterion:
    """The criterion for one service, by the name the user gave it: straight distance from the footprint [m].

    Not assessed where the file has no feature: an empty layer is not a distance of zero.
    """

    usual = Rubric(full_at=30.0, none_at=400.0, weight=0.5, source=_SOURCES.get(service, "reach-distances"))
    return Criterion(
        Description(
            f"reach_{service}",
            f"Reach of {service}",
            f"Straight distance from the footprint to the nearest {service}; trenches and roads are longer.",
            unit="m",
        ),
        partial(distance_to, service),
        {"any": usual, "in-ground": replace(usual, weight=_IN_GROUND_WEIGHT.get(service, usual.weight))},
        needs=(f"service:{service}",),
    )
