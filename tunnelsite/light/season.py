"""The sun of the crop months as one table: where it stands, what it gives, and what bare trees let through."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tunnelsite.core.crowns import BARE_TRANSMISSION, Crowns
from tunnelsite.core.units import MONTH_DAYS, days_of
from tunnelsite.light.irradiance import SunSteps

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
    steps: SunSteps,
    period: tuple[tuple[int, int], tuple[int, int]],
    bare: BareTrees | None = None,
    kinds: tuple[Crowns, ...] = (),
) -> np.ndarray:
    """Sun steps of a part of the year.

    Arguments: steps, of a year; period, crop months; bare, when trees are bare (None: in leaf all year); kinds of crowns, from
    the densest to the thinnest; without them one kind, opaque in leaf, that passes `bare.transmission` when bare.
    Return: float64 [n, 3 + kinds]: azimuth clockwise from true north [deg], elevation [deg], beam energy on a horizontal
    plane [Wh/m2], share of it that each kind of crown passes.
    """
    inside = np.isin(steps.day, days_of(period))
    leafless = np.zeros(len(steps.day), bool) if bare is None else np.isin(steps.day, days_of(bare.period))
    kinds = kinds or (Crowns(0.0, 0.0 if bare is None else bare.transmission),)
    passes = [np.where(leafless, kind.bare, kind.in_leaf) for kind in kinds]
    table = np.column_stack([steps.azimuth_deg, steps.elevation_deg, steps.beam_wh, *passes])
    return np.ascontiguousarray(table[inside])


def monthly_transmission(kind: Crowns, bare: BareTrees | None) -> np.ndarray:
    """Share of the beam that crowns pass in each month, 0..1 [12], a month that is bare for a part counting by its days."""
    days = np.zeros(365)
    if bare is not None:
        days[np.array(days_of(bare.period)) - 1] = 1.0
    month = np.repeat(np.arange(12), MONTH_DAYS)
    part = np.bincount(month, weights=days) / np.array(MONTH_DAYS)
    return kind.in_leaf + part * (kind.bare - kind.in_leaf)
