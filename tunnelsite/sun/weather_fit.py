"""Whether a weather file's light suits the sun of its station and of the site: wrong time zones and hemispheres are refused.

Eighteen files of twelve stations between 34 S and 57 N (IWEC, TMY3, generated ones; measured) have at most 0.01 % of their beam in
hours in which the sun of their station stays down, and their light is centred within 0.1 h of noon where the time zone is right. Two hours
off put 1.5 to 7 % in the dark, a year of the other hemisphere 0.6 to 13 % at latitudes of 23 degrees and more. A nineteenth, edited by
its users, had 1 % in the dark and its light centred an hour before noon.
"""

from __future__ import annotations

import math

import numpy as np

from tunnelsite.core.errors import InputRefused
from tunnelsite.core.weather import Weather
from tunnelsite.sun.position import Observer, daylight_positions

MOST_DARK = 0.005  # of the beam, in hours without sun
LATE_H, LATE_NOTED_H = (
    0.75,
    0.3,
)  # how far the light may be centred off mean noon; half an hour is a zone of :30 given in whole hours
SEASONLESS_DEG = 5.0  # nearer the equator than this the hemisphere makes no season
PARTS = 6  # instants of an hour at which the sun is looked for


def check_fit(weather: Weather, place: Observer) -> None:
    """Errors: InputRefused where the file's light falls in the dark of its own station or of the site, is centred far off noon, or comes
    from the other hemisphere."""
    station = Observer(weather.lat_deg, weather.lon_deg, weather.altitude_m)
    where = f"its station at {weather.lat_deg:g}, {weather.lon_deg:g} (UTC{weather.utc_offset_h:+g} h)"
    fix = "check latitude, longitude and time zone in its first line, or get the file again"
    dark = dark_share(weather, station)
    if dark > MOST_DARK:
        raise InputRefused(
            f"{weather.name} has {dark:.1%} of its beam in hours in which the sun is down at {where}",
            f"at most {MOST_DARK:.1%}: the file is of another time zone, place or hemisphere than it says",
            fix,
        )
    late_h = centre_h(weather)
    if abs(late_h) > LATE_H:
        raise InputRefused(
            f"the light of {weather.name} is centred {late_words(late_h)} at {where}",
            f"within {LATE_H:g} h of noon",
            fix,
        )
    away = f"{weather.name} is of a station at {weather.lat_deg:g}, {weather.lon_deg:g}, {distance_km(place, station):.0f} km from the site"
    nearer = "a file of a station near the site"
    lats = place.lat_deg, weather.lat_deg
    if lats[0] * lats[1] < 0 and max(map(abs, lats)) > SEASONLESS_DEG:
        raise InputRefused(
            f"{away} in the other hemisphere", nearer, "choose another file: its summer is the site's winter"
        )
    dark = dark_share(weather, place)
    if dark > MOST_DARK:
        raise InputRefused(
            f"{away}: {dark:.1%} of its beam falls in hours in which the sun is down at the site",
            nearer,
            "choose another file",
        )


def dark_share(weather: Weather, place: Observer) -> float:
    """Share of the beam in hours in which the sun is down at a place, 0..1."""
    bright = weather.beam_normal_wh > 0
    beam = weather.beam_normal_wh[bright]
    if not len(beam):
        return 0.0
    offsets = (np.arange(PARTS) + 0.5) * 3600 / PARTS
    _, elevation = daylight_positions((weather.start_s[bright, None] + offsets).ravel(), place)
    down = ~(elevation.reshape(len(beam), PARTS) > 0).any(axis=1)
    return float(beam[down].sum() / beam.sum())


def centre_h(weather: Weather) -> float:
    """How long after mean noon of the station the global light of the year is centred [h]; 0 where there is none."""
    solar_h = (weather.start_s + 1800 + weather.lon_deg * 240) % 86_400 / 3600 - 12.0
    total = float(weather.global_wh.sum())
    return float((weather.global_wh * solar_h).sum() / total) if total > 0 else 0.0


def late_words(late_h: float) -> str:
    """As `1.0 h after the sun's noon`."""
    return f"{abs(late_h):.1f} h {'after' if late_h > 0 else 'before'} the sun's noon"


def distance_km(one: Observer, other: Observer) -> float:
    """Great-circle distance [km] on a sphere of 6371 km (haversine)."""
    a, b = math.radians(one.lat_deg), math.radians(other.lat_deg)
    east = math.radians(other.lon_deg - one.lon_deg)
    root = math.sin((b - a) / 2) ** 2 + math.cos(a) * math.cos(b) * math.sin(east / 2) ** 2
    return 2 * 6371.0 * math.asin(min(1.0, math.sqrt(root)))
