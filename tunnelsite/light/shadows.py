"""Shadow lengths and the clear gap between parallel houses, in closed form on level ground, without refraction."""

from __future__ import annotations

import math

WINTER_SOLSTICE_DEG = 23.44  # obliquity of the ecliptic, rounded


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


def clear_gap_m(ridge_m: float, width_m: float, reach: float, *, side_m: float = 0.0, shape: str = "ridge") -> float:
    """Clear ground between two parallel E-W houses that keeps the shadow of one off the foot of the next.

    Arguments:
        ridge_m, width_m, side_m: height of the ridge, width, height of the side walls [m].
        reach: of a shadow towards the next house in heights, from `poleward_reach`.
        shape: `ridge` (only the ridge line and the side's eaves throw the shadow: a gable) or `round` (half-ellipse
        standing on its side walls).
    Return: gap [m], never below 0.
    Source: derived. Ridge: reach*H - W/2. Round: the shadow's edge is the tangent of the ellipse with half axes a = W/2, b = H - S:
        reach*S + sqrt(a^2 + (reach b)^2) - a, always more than the ridge's (at 40 deg N, 12 ft by 30 ft: 13.3 ft instead of 9.0).
    Errors: ValueError for another shape.
    """
    reach, half = abs(reach), width_m / 2
    if shape == "ridge":
        return max(0.0, reach * ridge_m - half, reach * side_m)
    if shape == "round":
        return reach * side_m + math.hypot(half, reach * (ridge_m - side_m)) - half
    raise ValueError(f"shape is {shape!r}, expected 'ridge' or 'round'")


def clear_gap_by_latitude(
    ridge_m: float, width_m: float, latitudes: tuple[float, ...], *, shape: str = "ridge", side_m: float = 0.0
):
    """For each latitude (latitude, gap at noon, gap from 10 to 14 h solar) at the winter solstice of that hemisphere
    [m]; None = sun down."""
    rows = []
    for lat in latitudes:
        decl = -math.copysign(WINTER_SOLSTICE_DEG, lat)
        reaches = (poleward_reach(lat, decl, hour) for hour in (12.0, 10.0))
        gaps = [
            None if reach is None else clear_gap_m(ridge_m, width_m, reach, side_m=side_m, shape=shape)
            for reach in reaches
        ]
        rows.append((lat, *gaps))
    return rows
