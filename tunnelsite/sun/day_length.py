"""Day length by either definition, and the part of the year with less than ten hours of day."""

from __future__ import annotations

import datetime
import math
from dataclasses import dataclass

import numpy as np

from tunnelsite.sun.position import DAY_S, YEAR, Observer, declination_deg, midnight_s

# Elevation of the sun's centre, without atmosphere, at which day begins and ends.
DEFINITIONS = {
    "geometric": 0.0,  # centre of the disc on the level horizon, no refraction
    "almanac": -0.8333,  # upper limb seen on the level horizon: 16' radius + 34' refraction, as almanacs print sunrise and sunset
}
TEN_HOURS = 10.0


def day_length_hours(
    lat_deg: float | np.ndarray, declination: float | np.ndarray, definition: str = "almanac"
) -> np.ndarray:
    """Hours from sunrise to sunset; 0 in polar night and 24 under the midnight sun, never NaN.

    Arguments: lat_deg [deg]; declination of the sun [deg]; definition, `geometric` or `almanac` (see DEFINITIONS).
    Source: sunset equation cos w = (sin h - sin lat sin decl) / (cos lat cos decl), N = 2 w / 15 (eq. 25 and 34 for h = 0) [@fao56].
    Errors: KeyError for another definition.
    """
    rise = math.sin(math.radians(DEFINITIONS[definition]))
    lat, decl = np.radians(np.asarray(lat_deg, float)), np.radians(np.asarray(declination, float))
    above = rise - np.sin(lat) * np.sin(decl)
    across = np.maximum(np.cos(lat) * np.cos(decl), 1e-12)  # at the poles the sign of `above` alone decides
    return np.asarray(np.degrees(np.arccos(np.clip(above / across, -1.0, 1.0))) * 2 / 15)


def year_of_day_lengths(place: Observer, definition: str = "almanac", year: int = YEAR) -> np.ndarray:
    """Day length [h] of every day of a year at a place, from the declination at mean noon."""
    days = (datetime.date(year + 1, 1, 1) - datetime.date(year, 1, 1)).days
    noon = midnight_s(np.arange(1, days + 1), place.lon_deg, year) + DAY_S // 2
    return day_length_hours(place.lat_deg, declination_deg(noon), definition)


@dataclass(frozen=True)
class ShortDays:
    """The part of the year with days below a limit.

    Attributes: first, last day, or None with `reason`; days, how many; definition of day length; limit_h [h].
    """

    first: datetime.date | None
    last: datetime.date | None
    days: int
    definition: str
    limit_h: float = TEN_HOURS
    reason: str = ""


def short_days(
    place: Observer, *, winter_of: int = YEAR, definition: str = "almanac", limit_h: float = TEN_HOURS
) -> ShortDays:
    """First and last day with less than `limit_h` hours of day in the winter that begins in `winter_of`.

    The ten-hour rule: growth nearly stops below ten hours; aim for crops three quarters grown before [@ten-hours].
    Contested: field reports say
    that temperature matters as much.

    Arguments: place; winter_of, year in which the northern winter begins, or of the southern winter; definition; limit_h [h].
    """
    years = (winter_of,) if place.southern else (winter_of, winter_of + 1)
    lengths = np.concatenate([year_of_day_lengths(place, definition, year) for year in years])
    start = datetime.date(winter_of, 1, 1)
    if not place.southern:  # from midsummer to midsummer, so that one winter is whole
        half = (datetime.date(winter_of, 7, 1) - start).days
        start, lengths = datetime.date(winter_of, 7, 1), lengths[half : half + 365]
    short = np.flatnonzero(lengths < limit_h)
    if not len(short):
        return ShortDays(None, None, 0, definition, limit_h, f"no day of the year is shorter than {limit_h:g} h here")
    first, last = (start + datetime.timedelta(int(k)) for k in (short[0], short[-1]))
    return ShortDays(first, last, len(short), definition, limit_h)
