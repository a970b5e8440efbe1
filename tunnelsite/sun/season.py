"""The sun of the crop months as one table: where it stands, what it gives in which month, and what bare trees let through."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tunnelsite.core.crowns import BARE_TRANSMISSION, Crowns
from tunnelsite.core.units import MONTH_DAYS, days_of
from tunnelsite.sun.irradiance import SunSteps

# Months without leaves in temperate climates [@bare-months].
BARE_NORTH, BARE_SOUTH = ((11, 1), (4, 15)), ((5, 1), (10, 15))
TROPIC_DEG = 23.44
LEAST_DAYS = 10  # of a month that is judged by itself; no source


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
    Return: float64 [n, 4 + kinds]: azimuth clockwise from true north [deg], elevation [deg], beam energy on a horizontal
    plane [Wh/m2], month 1..12 it counts for (see `crop_month_of`), share of it that each kind of crown passes.
    """
    inside = np.isin(steps.day, days_of(period))
    leafless = np.zeros(len(steps.day), bool) if bare is None else np.isin(steps.day, days_of(bare.period))
    kinds = kinds or (Crowns(0.0, 0.0 if bare is None else bare.transmission),)
    passes = [np.where(leafless, kind.bare, kind.in_leaf) for kind in kinds]
    month = crop_month_of(period)[np.asarray(steps.day, int) - 1]
    table = np.column_stack([steps.azimuth_deg, steps.elevation_deg, steps.beam_wh, month, *passes])
    return np.ascontiguousarray(table[inside])


def crop_month_of(period: tuple[tuple[int, int], tuple[int, int]]) -> np.ndarray:
    """The month, int [365], that each day of the crop months counts for when months are judged one by one; 0 on other days.

    A month of which fewer than LEAST_DAYS are crop days is too short to be judged: its days count with the month beside it, the
    one before where there is one. If all are too short they count as one, by the name of the longest.
    Arguments: period, first and last crop day ((month, day), (month, day)).
    """
    days = np.array(days_of(period))
    own = np.repeat(np.arange(1, 13), MONTH_DAYS)[days - 1]
    count = np.bincount(own, minlength=13)
    months = list(dict.fromkeys(own.tolist()))  # in the order of the season
    long = [month for month in months if count[month] >= LEAST_DAYS] or [int(np.argmax(count))]
    counts_for = {}
    for place, month in enumerate(months):
        beside = [*reversed(months[:place]), *months[place + 1 :]]
        counts_for[month] = month if month in long else next(other for other in beside if other in long)
    found = np.zeros(365, int)
    found[days - 1] = [counts_for[month] for month in own.tolist()]
    return found


def judged_months(period: tuple[tuple[int, int], tuple[int, int]]) -> frozenset[int]:
    """The months of the crop months that are judged one by one, 1..12 (see `crop_month_of`)."""
    return frozenset(np.unique(crop_month_of(period)).tolist()) - {0}


def monthly_transmission(kind: Crowns, bare: BareTrees | None) -> np.ndarray:
    """Share of the beam that crowns pass in each month, 0..1 [12], a month that is bare for a part counting by its days."""
    days = np.zeros(365)
    if bare is not None:
        days[np.array(days_of(bare.period)) - 1] = 1.0
    month = np.repeat(np.arange(12), MONTH_DAYS)
    part = np.bincount(month, weights=days) / np.array(MONTH_DAYS)
    return np.asarray(kind.in_leaf + part * (kind.bare - kind.in_leaf))
