"""A year of beam and diffuse light in short steps under an open sky: clear-sky model or weather file."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from tunnelsite.core.weather import Weather
from tunnelsite.sun.clear_sky import clear_sky, daily_turbidity
from tunnelsite.sun.position import Observer, daylight_positions, midnight_s, month_of
from tunnelsite.sun.weather_fit import LATE_NOTED_H, centre_h, check_fit, distance_km, late_words

STEP_MINUTES = 10
FAR_STATION_KM = 50.0


@dataclass(frozen=True)
class SunSteps:
    """Steps of a year with the sun above the level horizon, and the light of each on an open horizontal plane.

    Attributes:
        azimuth_deg, elevation_deg: of the sun in the middle of the step [n]. month 1..12, day 1..365 [n].
        beam_wh, diffuse_wh: energy of the step [Wh/m2] [n]. step_minutes.
        source: the sky, in words. notes: what a reader should know.
    """

    azimuth_deg: np.ndarray
    elevation_deg: np.ndarray
    month: np.ndarray
    day: np.ndarray
    beam_wh: np.ndarray
    diffuse_wh: np.ndarray
    step_minutes: float
    source: str
    notes: tuple[str, ...] = ()


def clear_sky_steps(
    place: Observer, step_minutes: int = STEP_MINUTES, of_days: Sequence[int] = range(1, 366)
) -> SunSteps:
    """The light of a year, or of some of its days, without a cloud. Empty days in polar night.

    Arguments: place; step_minutes, a divisor of 1440; of_days, 1..365.
    Source: [@ineichen-perez-2002] with the monthly Linke turbidity map of SoDa/Meteotest, which pvlib carries.
    The days are those of local mean solar time, so that a day's light stays together at every longitude.
    """
    return _clear_sky_steps(place, step_minutes, tuple(sorted(of_days)))


@lru_cache(maxsize=8)  # a desk and a server look at one place again and again
def _clear_sky_steps(place: Observer, step_minutes: int, of_days: tuple[int, ...]) -> SunSteps:
    days = np.asarray(of_days, int)
    middle = np.round((np.arange(0, 1440, step_minutes) + step_minutes / 2) * 60)
    seconds = (midnight_s(days, place.lon_deg)[:, None] + middle).ravel()
    azimuth, elevation = daylight_positions(seconds, place)
    up = elevation > 0
    which = np.repeat(np.arange(len(days)), len(middle))[up]
    day = days[which]
    sky = clear_sky(elevation[up], daily_turbidity(days, place)[which], day, place.altitude_m)
    hours = step_minutes / 60
    beam = np.nan_to_num(sky.beam) * np.sin(np.radians(elevation[up])) * hours
    diffuse = np.nan_to_num(sky.diffuse) * hours
    source = "clear sky (Ineichen & Perez 2002, Linke turbidity map)"
    found = azimuth[up], elevation[up], month_of(day), day, beam, np.maximum(diffuse, 0)
    for values in found:
        values.flags.writeable = False
    return SunSteps(*found, step_minutes, source)


def weather_steps(weather: Weather, place: Observer, step_minutes: int = STEP_MINUTES) -> SunSteps:
    """The light of a weather file's year, its hours cut into short steps so that a horizon can cut an hour in two.

    An hour's beam energy is spread evenly over those of its steps that have the sun up, and its diffuse energy
    likewise; beam on the horizontal
    is beam normal x sin(elevation), so the file's own global column is not used. The sun is the one of `place`, not of the station.
    Errors: InputRefused where the file's light does not suit the sun of its station or of the place, see `weather_fit.check_fit`.
    """
    check_fit(weather, place)
    parts = 60 // step_minutes
    offsets = (np.arange(parts) + 0.5) * step_minutes * 60
    azimuth, elevation = daylight_positions((weather.start_s[:, None] + offsets).ravel(), place)
    shape = (len(weather.start_s), parts)
    azimuth, elevation = azimuth.reshape(shape), elevation.reshape(shape)
    up = elevation > 0
    count = up.sum(axis=1)
    share = np.where(up, 1.0 / np.maximum(count, 1)[:, None], 0.0)
    beam = weather.beam_normal_wh[:, None] * share * np.sin(np.radians(np.maximum(elevation, 0)))
    diffuse = weather.diffuse_wh[:, None] * share
    notes = list(weather.notes)
    dark = (count == 0) & (weather.diffuse_wh > 0)
    if dark.any():
        notes.append(
            f"{weather.diffuse_wh[dark].sum():.0f} Wh/m2 of twilight, in hours without sun at the site, left out"
        )
    away = distance_km(place, Observer(weather.lat_deg, weather.lon_deg))
    late_h = centre_h(weather)
    if away > FAR_STATION_KM:
        notes.append(f"the weather station is {away:.0f} km from the site")
    if abs(late_h) > LATE_NOTED_H:
        notes.append(f"the light of {weather.name} is centred {late_words(late_h)}: doubt its time zone")
    month, day = (np.broadcast_to(values[:, None], shape)[up] for values in (weather.month, weather.day))
    return SunSteps(
        azimuth[up],
        elevation[up],
        month,
        day,
        beam[up],
        diffuse[up],
        step_minutes,
        f"weather file {weather.name}",
        tuple(notes),
    )
