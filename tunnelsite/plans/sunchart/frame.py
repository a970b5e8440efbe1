"""Scales and curves of the sun chart's picture: which part of the sky is shown, the sun's band, the lines of equal hour."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from tunnelsite.core.units import days_of
from tunnelsite.plans.sunchart.chart import Clock, SunChart
from tunnelsite.sun.position import DAY_S, Observer, declination_deg, midnight_s, solar_noon_s, sun_positions

TROPIC_DEG = 23.44
CIRCLE = 360.0
LEAP_DEG = 90.0  # the sun past the zenith, or a curve across the edge: not one line


@dataclass(frozen=True)
class SkyWindow:
    """The part of the sky that is shown and where on the paper.

    Attributes: west_deg, span_deg, azimuth at the left edge and how many are shown; top_deg, elevation at the upper edge; left, top, width,
    height of the panel in the picture.
    """

    west_deg: float
    span_deg: float
    top_deg: float
    left: float
    top: float
    width: float
    height: float

    def turn(self, azimuth_deg: np.ndarray) -> np.ndarray:
        """Azimuths as degrees from the left edge, 0..360."""
        return (np.asarray(azimuth_deg, float) - self.west_deg) % CIRCLE

    def x(self, turn_deg: float) -> float:
        """Place across the picture of degrees from the left edge."""
        return self.left + float(turn_deg) / self.span_deg * self.width

    def y(self, elevation_deg: float) -> float:
        """Place down the picture."""
        return self.top + self.height * (1 - float(elevation_deg) / self.top_deg)

    def pieces(self, azimuth_deg: np.ndarray, elevation_deg: np.ndarray) -> list[list[tuple[float, float]]]:
        """A curve in picture units, cut where it leaves the shown part or crosses its edge."""
        turn = self.turn(azimuth_deg)
        inside = turn <= self.span_deg
        cut = np.flatnonzero((np.abs(np.diff(turn)) > LEAP_DEG) | (inside[1:] != inside[:-1])) + 1
        parts = [part for part in np.split(np.arange(len(turn)), cut) if len(part) and inside[part[0]]]
        return [[(self.x(turn[k]), self.y(elevation_deg[k])) for k in part] for part in parts]


def sky_of(chart: SunChart, left: float, top: float, width: float, height: float) -> SkyWindow:
    """The shown part: where the sun goes in the year, north or south in the middle as the sun has it, the whole
    circle in the tropics and polar day."""
    place = chart.sun_place
    azimuth, elevation = _sun_over_year(place)
    azimuth, elevation = azimuth[elevation > 0], elevation[elevation > 0]
    highest = max(float(elevation.max(initial=0.0)), min(60.0, float(chart.horizon.top_deg.max())))
    top_deg = min(90.0, 10.0 * math.ceil((highest + 4.0) / 10.0))
    middle = 0.0 if place.southern else 180.0
    widest = float(np.abs((azimuth - middle + 180.0) % CIRCLE - 180.0).max(initial=90.0))
    half = 15.0 * math.ceil((widest + 6.0) / 15.0)
    if abs(place.lat_deg) < TROPIC_DEG or half > 165.0:
        half = 180.0
    return SkyWindow((middle - half) % CIRCLE, 2 * half, top_deg, left, top, width, height)


@lru_cache(maxsize=8)
def _sun_over_year(place: Observer) -> tuple[np.ndarray, np.ndarray]:
    """(azimuth, elevation) of the sun every 20 minutes of every fifth day [deg]; kept for further charts of one place."""
    seconds = (midnight_s(np.arange(1, 366, 5), place.lon_deg)[:, None] + np.arange(0, DAY_S, 1200)).ravel()
    return sun_positions(seconds, place)


def sun_band(sky: SkyWindow, place: Observer, days: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The sky the sun crosses on some days: (degrees from the left edge, lowest, highest elevation), NaN where it never is.

    From sin(decl) = sin(lat) sin(h) + cos(lat) cos(h) cos(azimuth): every (azimuth, h) whose declination lies within that of the days.
    """
    decl = declination_deg(midnight_s(days, place.lon_deg) + DAY_S // 2)
    turn = np.arange(0.0, sky.span_deg + 0.25, 0.5)
    height = np.arange(0.0, 90.01, 0.125)
    azimuth, h = np.radians((turn + sky.west_deg)[:, None]), np.radians(height[None, :])
    lat = math.radians(place.lat_deg)
    there = np.degrees(
        np.arcsin(np.clip(math.sin(lat) * np.sin(h) + math.cos(lat) * np.cos(h) * np.cos(azimuth), -1, 1))
    )
    inside = (there >= decl.min()) & (there <= decl.max())
    low = np.where(inside.any(axis=1), height[np.argmax(inside, axis=1)], np.nan)
    high = np.where(inside.any(axis=1), height[len(height) - 1 - np.argmax(inside[:, ::-1], axis=1)], np.nan)
    return turn, low, high


def all_days() -> np.ndarray:
    """1..365."""
    return np.arange(1, 366)


def crop_days(chart: SunChart) -> np.ndarray:
    """Days of the crop months (1..365)."""
    return np.array(days_of(chart.crop_days))


@dataclass(frozen=True)
class HourLine:
    """Where the sun stands at one full hour through the year: hour; azimuth_deg, elevation_deg of every fifth day, NaN while it is down."""

    hour: int
    azimuth_deg: np.ndarray
    elevation_deg: np.ndarray


@lru_cache(maxsize=8)
def hour_lines(place: Observer, clock: Clock) -> tuple[HourLine, ...]:
    """Lines of equal clock hour (slim figures of eight) or of equal solar hour (plain curves, first half of the year only)."""
    offset_h = clock.utc_offset_h
    solar = offset_h is None
    days = np.array([*range(172, 357, 5), 355]) if solar else np.array([*range(1, 366, 5), 1])
    start = solar_noon_s(days, place) - 12 * 3600 if offset_h is None else midnight_s(days, 0.0) - offset_h * 3600
    seconds = np.arange(24)[:, None] * 3600 + start
    azimuth, elevation = (values.reshape(seconds.shape) for values in sun_positions(seconds.ravel(), place))
    up = elevation > 0
    return tuple(
        HourLine(hour, azimuth[hour], np.where(up[hour], elevation[hour], np.nan))
        for hour in range(24)
        if up[hour].any()
    )
