"""Light on a horizontal plane at one point behind its horizon: by month, for the crop months, on one day."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tunnelsite.core.horizon import Horizon
from tunnelsite.core.units import MONTH_DAYS, MONTHS, days_of
from tunnelsite.sun.irradiance import SunSteps
from tunnelsite.sun.position import SUNLESS, Observer, day_of_year, month_of, solar_noon_s, sun_positions


@dataclass(frozen=True)
class LightSum:
    """Light of a period on a horizontal plane, here and under an open sky.

    Attributes:
        period: in words. days: how many.
        beam_kwh, diffuse_kwh: received [kWh/m2]. open_beam_kwh, open_diffuse_kwh: with a flat horizon [kWh/m2].
        reason: why the shares are None, else empty.
    """

    period: str
    days: int
    beam_kwh: float
    diffuse_kwh: float
    open_beam_kwh: float
    open_diffuse_kwh: float
    reason: str = ""

    @property
    def total_kwh(self) -> float:
        """Beam and diffuse [kWh/m2]."""
        return self.beam_kwh + self.diffuse_kwh

    @property
    def beam_share(self) -> float | None:
        """Beam received / beam with a flat horizon, or None (see `reason`)."""
        return self.beam_kwh / self.open_beam_kwh if self.open_beam_kwh > 0 else None

    @property
    def total_share(self) -> float | None:
        """Beam and diffuse received / the same with a flat horizon, or None (see `reason`)."""
        opened = self.open_beam_kwh + self.open_diffuse_kwh
        return self.total_kwh / opened if opened > 0 else None

    @property
    def mean_daily_mj(self) -> float:
        """Mean energy a day [MJ/m2]."""
        return self.total_kwh * 3.6 / self.days


@dataclass(frozen=True)
class Light:
    """The light at one point.

    Attributes: months, January first; crop_months; sky_view (cosine-weighted, horizontal plane), sky_fraction (solid
    angle); sky, in words; notes.
    """

    months: tuple[LightSum, ...]
    crop_months: LightSum
    sky_view: float
    sky_fraction: float
    sky: str
    notes: tuple[str, ...] = ()


def light_received(horizon: Horizon, steps: SunSteps, period: tuple[tuple[int, int], tuple[int, int]]) -> Light:
    """Beam, diffuse and total by month and for the crop months, and their share of the possible.

    Beam: the centre of the sun's disc clears the horizon or not (crowns: their transmission of the month). Diffuse: an even sky times the
    cosine-weighted sky view of the horizontal plane; light reflected from slopes, trees and walls is left out, so the sum is a little low.

    Arguments: horizon; steps of a whole year; period ((month, day), (month, day)) of the crop months, may wrap the year.
    """
    beam = steps.beam_wh * horizon.beam_factor(steps.azimuth_deg, steps.elevation_deg, steps.month)
    views = np.array([horizon.sky_view(month) for month in range(1, 13)])
    diffuse = steps.diffuse_wh * views[steps.month - 1]

    def total(chosen: np.ndarray, words: str, days: int) -> LightSum:
        sums = [float(values[chosen].sum()) / 1000 for values in (beam, diffuse, steps.beam_wh, steps.diffuse_wh)]
        reason = "" if sums[2] > 0 else (SUNLESS if not chosen.any() else "no beam in this period")
        return LightSum(words, days, sums[0], sums[1], sums[2], sums[3], reason=reason)

    months = tuple(total(steps.month == m, MONTHS[m - 1], MONTH_DAYS[m - 1]) for m in range(1, 13))
    wanted = days_of(period)
    words = "{:02d}-{:02d}:{:02d}-{:02d}".format(*period[0], *period[1])
    crop = total(np.isin(steps.day, wanted), words, len(wanted))
    return Light(months, crop, horizon.sky_view(), horizon.sky_fraction(), steps.source, steps.notes)


def midwinter_noon_clear(horizon: Horizon, place: Observer) -> tuple[float | None, str]:
    """Share of the days of December (June south of the equator) on which the sun is clear of the horizon as it crosses the meridian.

    Return: (share 0..1, empty), or (None, reason) where the sun does not rise on any of them.
    """
    month = 6 if place.southern else 12
    days = day_of_year(month, 1) + np.arange(MONTH_DAYS[month - 1])
    azimuth, elevation = sun_positions(solar_noon_s(days, place), place)
    if not (elevation > 0).any():
        return None, f"{SUNLESS} in {MONTHS[month - 1].capitalize()}"
    return float(horizon.beam_factor(azimuth, elevation, month_of(days)).mean()), ""
