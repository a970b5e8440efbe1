"""The horizon round one point: how high the obstacle stands in each direction, how far away it is, and what light still gets through."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

FULL_TURN_DEG = 360.0


@dataclass(frozen=True)
class Foliage:
    """Crowns that let part of the beam through, by month.

    Attributes:
        top_deg, base_deg: elevation of the crowns' top and of their lower edge [deg] [n]; no crown where top <= base.
        transmission: share of the beam that passes, 0..1, [12, n], row 0 = January.
    """

    top_deg: np.ndarray
    base_deg: np.ndarray
    transmission: np.ndarray


@dataclass(frozen=True)
class Horizon:
    """The horizon seen from one point, straight lines between its azimuths, all the way round.

    Attributes:
        azimuth_deg: clockwise from true north, rising, within 0..360 (360 itself excluded) [n].
        elevation_deg: top of what lets no light through, above the level plane through the point [deg] [n].
        distance_m: how far away that is [m] [n], NaN unknown. standing_m: how tall it stands above its own ground [m] [n], 0 = the
        ground itself, NaN unknown. what: a name a direction, or empty. foliage: crowns that are not opaque, or None.
    """

    azimuth_deg: np.ndarray
    elevation_deg: np.ndarray
    distance_m: np.ndarray | None = None
    standing_m: np.ndarray | None = None
    what: tuple[str, ...] = ()
    foliage: Foliage | None = None

    def __post_init__(self) -> None:
        azimuth = np.asarray(self.azimuth_deg, float)
        if len(azimuth) < 1 or (np.diff(azimuth) <= 0).any() or azimuth[0] < 0 or azimuth[-1] >= FULL_TURN_DEG:
            raise ValueError("azimuth_deg of a horizon must rise from 0 or more to less than 360")
        if not np.isfinite(self.elevation_deg).all() or len(self.elevation_deg) != len(azimuth):
            raise ValueError("elevation_deg of a horizon must be finite, one for each azimuth")

    @property
    def top_deg(self) -> np.ndarray:
        """Elevation of everything that takes light away, crowns included [deg] [n]."""
        if self.foliage is None:
            return np.asarray(self.elevation_deg, float)
        crowned = self.foliage.top_deg > self.foliage.base_deg
        return np.asarray(np.maximum(self.elevation_deg, np.where(crowned, self.foliage.top_deg, -90.0)))

    def along(self, values: np.ndarray, azimuth_deg: np.ndarray) -> np.ndarray:
        """`values` [n] at other azimuths [deg], by straight lines round the circle."""
        azimuth = np.asarray(azimuth_deg, float) % FULL_TURN_DEG
        return np.asarray(np.interp(azimuth, self.azimuth_deg, values, period=FULL_TURN_DEG))

    def nearest(self, azimuth_deg: np.ndarray) -> np.ndarray:
        """Index of the horizon's azimuth next to each given one [deg]; of two equally near, the first."""
        wanted, known = np.asarray(azimuth_deg, float), np.asarray(self.azimuth_deg, float)
        after = np.searchsorted(known, wanted % FULL_TURN_DEG) % len(known)
        before = (after - 1) % len(known)  # the nearest one is on one of both sides
        first, second = np.minimum(before, after), np.maximum(before, after)
        gaps = [np.abs((wanted - known[side] + 180.0) % FULL_TURN_DEG - 180.0) for side in (first, second)]
        return np.where(gaps[0] <= gaps[1], first, second)

    def beam_factor(self, azimuth_deg: np.ndarray, elevation_deg: np.ndarray, month: np.ndarray) -> np.ndarray:
        """Share of the beam from the centre of the sun's disc that arrives: 0 behind something opaque, 1 in the clear.

        Arguments: azimuth_deg, elevation_deg [deg] and month (1..12) of the sun, all [m]. Return: 0..1 [m].
        """
        azimuth, elevation = np.asarray(azimuth_deg, float), np.asarray(elevation_deg, float)
        factor = (elevation > np.maximum(self.along(self.elevation_deg, azimuth), 0.0)).astype(float)
        if self.foliage is not None:
            nearest = self.nearest(
                azimuth
            )  # a crown has edges: transmission and extent are not smeared between directions
            crown = (elevation < self.foliage.top_deg[nearest]) & (elevation >= self.foliage.base_deg[nearest])
            factor *= np.where(crown, self.foliage.transmission[np.asarray(month) - 1, nearest], 1.0)
        return np.asarray(factor)

    def sky_view(self, month: int | None = None) -> float:
        """Cosine-weighted sky view of a HORIZONTAL plane, 0..1: its share of the diffuse light of an even (isotropic) sky.

        Each direction contributes cos^2 h, h the horizon's elevation (view-factor integral, derived; 0 where h is
        below the level plane). Crowns
        count with their transmission in `month` (1..12), as opaque where it is None. Not the solid-angle share: see `sky_fraction`.
        """
        return self._sky(lambda angle: np.sin(angle) ** 2, month)

    def sky_fraction(self, month: int | None = None) -> float:
        """Share of the upper hemisphere's solid angle that is sky, 0..1: mean of 1 - sin h. Some texts call this the sky view factor."""
        return self._sky(np.sin, month)

    def _sky(self, below: Callable[[np.ndarray], np.ndarray], month: int | None) -> float:
        solid = np.radians(np.clip(self.elevation_deg, 0.0, 90.0))
        hidden = below(solid)
        if self.foliage is not None:
            top = np.maximum(np.radians(np.clip(self.foliage.top_deg, 0.0, 90.0)), solid)
            base = np.clip(np.radians(self.foliage.base_deg), solid, top)
            passed = 0.0 if month is None else self.foliage.transmission[month - 1]
            hidden = hidden + (1.0 - passed) * (below(top) - below(base))
        return float(np.clip(1.0 - np.average(hidden, weights=self._widths()), 0.0, 1.0))

    def _widths(self) -> np.ndarray:
        """Angle that each azimuth stands for: half the way to both neighbours (trapezoid rule on the circle)."""
        azimuth = np.asarray(self.azimuth_deg, float)
        if len(azimuth) == 1:
            return np.ones(1)
        gaps = np.diff(azimuth, append=azimuth[0] + FULL_TURN_DEG)
        return (gaps + np.roll(gaps, 1)) / 2
