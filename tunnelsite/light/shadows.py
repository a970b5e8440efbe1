"""Shadow lengths in closed form on level ground, without refraction; gaps between houses are in `core.shade_gap`."""

from __future__ import annotations

import math


def sun_angles(lat_deg: float, declination: float, solar_hour: float) -> tuple[float, float]:
    """Altitude of the sun, and azimuth clockwise from true north [deg], at a solar time.

    Arguments: lat_deg, declination [deg]; solar_hour, 12 = the sun on the meridian [h].
    Source: Duffie & Beckman eq. 1.6.5 and 1.6.6 (memory), without refraction.
    """
    lat, decl, hour = (math.radians(value) for value in (lat_deg, declination, 15 * (solar_hour - 12)))
    up = math.sin(lat) * math.sin(decl) + math.cos(lat) * math.cos(decl) * math.cos(hour)
    north = math.cos(lat) * math.sin(decl) - math.sin(lat) * math.cos(decl) * math.cos(hour)
    east = -math.cos(decl) * math.sin(hour)
    return math.degrees(math.asin(max(-1.0, min(1.0, up)))), math.degrees(math.atan2(east, north)) % 360


def shadow_multiple(altitude_deg: float) -> float | None:
    """Length of a shadow on level ground in heights of what casts it: 1 / tan(altitude); None where the sun is down."""
    return 1 / math.tan(math.radians(altitude_deg)) if altitude_deg > 0 else None


def poleward_reach(lat_deg: float, declination: float, solar_hour: float) -> float | None:
    """How far north of an E-W line of height 1 its shadow reaches (south: negative): -cos(azimuth) / tan(altitude);
    None where the sun is down."""
    altitude, azimuth = sun_angles(lat_deg, declination, solar_hour)
    multiple = shadow_multiple(altitude)
    return None if multiple is None else -multiple * math.cos(math.radians(azimuth))
