"""The sun of the crop months as one table: where it stands, what it gives, and what bare trees let through."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tunnelsite.core.units import days_of
from tunnelsite.light.irradiance import SunSteps

# Bare deciduous trees still cut a third to half of the beam (building-energy text, seen, secondary): the middle passes 0.58.
BARE_TRANSMISSION = 0.58
# Months without leaves in temperate climates: common practice, no source.
BARE_NORTH, BARE_SOUTH = ((11, 1), (4, 15)), ((5, 1), (10, 15))
TROPIC_DEG = 23.44


@dataclass(frozen=True)
class BareTrees:
    """When deciduous trees are bare ((month, day), (month, day)) and what share of the beam their crowns then pass."""

    period: tuple[tuple[int, int], tuple[int, int]]
    transmission: float = BARE_TRANSMISSION


def bare_trees(lat_deg: float, transmission: float = BARE_TRANSMISSION) -> BareTrees | None:
    """The usual bare months by hemisphere; None in the tropics, where leaves fall by rain and not by month."""
    if abs(lat_deg) < TROPIC_DEG:
        return None
    return BareTrees(BARE_NORTH if lat_deg > 0 else BARE_SOUTH, transmission)


def season_sun(
    steps: SunSteps, period: tuple[tuple[int, int], tuple[int, int]], bare: BareTrees | None = None
) -> np.ndarray:
    """Sun steps of a part of the year.

    Arguments: steps, of a year; period, crop months; bare, when trees are bare (None: in leaf, opaque, all year).
    Return: float64 [n, 4]: azimuth clockwise from true north [deg], elevation [deg], beam energy on a horizontal plane [Wh/m2],
    share of it that deciduous crowns pass (0 in leaf).
    """
    inside = np.isin(steps.day, days_of(period))
    passes = np.zeros(len(steps.day))
    if bare is not None:
        passes[np.isin(steps.day, days_of(bare.period))] = bare.transmission
    table = np.column_stack([steps.azimuth_deg, steps.elevation_deg, steps.beam_wh, passes])
    return np.ascontiguousarray(table[inside])
