"""A horizon measured in the field held against the computed one."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tunnelsite.core.horizon import Horizon

NOTABLE_DEG = 3.0  # a hand clinometer reads to about 1 degree and a compass to about 2; common practice, no source


@dataclass(frozen=True)
class HorizonDifference:
    """One reading: azimuth_deg; measured_deg, computed_deg; difference_deg, measured less computed; notable, beyond
    what instruments explain."""

    azimuth_deg: float
    measured_deg: float
    computed_deg: float
    difference_deg: float
    notable: bool


def horizon_differences(
    measured: Horizon, computed: Horizon, notable_deg: float = NOTABLE_DEG
) -> tuple[HorizonDifference, ...]:
    """Every reading against the computed horizon in its direction, by azimuth.

    A compass is read a degree or two off, so the computed horizon counts as met if it reaches the reading anywhere
    within 2 degrees of it: the
    difference is the one nearest to 0 there.
    Arguments: measured, computed; notable_deg [deg].
    """
    found = []
    for azimuth, reading in zip(measured.azimuth_deg, measured.elevation_deg, strict=True):
        near = np.maximum(computed.along(computed.top_deg, azimuth + np.arange(-2.0, 2.01, 0.25)), 0.0)
        best = float(np.clip(reading, near.min(), near.max()))
        here = max(float(computed.along(computed.top_deg, azimuth)), 0.0)
        off = float(reading) - best
        found.append(HorizonDifference(float(azimuth), float(reading), here, off, abs(off) > notable_deg))
    return tuple(found)
