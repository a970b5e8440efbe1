"""Beam and diffuse light of a sky without a cloud, as `pvlib.clearsky` has it; see `of_pvlib` for why it is not called."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tunnelsite.core.units import MONTH_DAYS
from tunnelsite.sun.of_pvlib import monthly_turbidity
from tunnelsite.sun.position import DAY_S, Observer, midnight_s, pressure_pa

SEA_LEVEL_PA = 101_325.0
SOLAR_CONSTANT = 1366.1  # W/m2 [@spencer-1971]


@dataclass(frozen=True)
class ClearSky:
    """Light of instants [n]: `beam`, normal to the sun, and `diffuse`, on the horizontal [W/m2]."""

    beam: np.ndarray
    diffuse: np.ndarray


def clear_sky(elevation_deg: np.ndarray, turbidity: np.ndarray, day: np.ndarray, altitude_m: float) -> ClearSky:
    """Light under a clear sky. Source: [@ineichen-perez-2002].

    Arguments: elevation of the sun above the horizon, above 0 [n]; Linke turbidity [n]; day of the year 1..365 [n]; altitude [m].
    """
    cosine = np.maximum(np.cos(np.radians(90.0 - elevation_deg)), 0)
    mass = air_mass(elevation_deg) * pressure_pa(altitude_m) / SEA_LEVEL_PA
    above = beyond_the_air(day)
    low, high = np.exp(-altitude_m / 8000.0), np.exp(-altitude_m / 1250.0)
    most, loss = 5.09e-05 * altitude_m + 0.868, 3.92e-05 * altitude_m + 0.0387
    whole = most * above * cosine * np.exp(-loss * mass * (low + high * (turbidity - 1)))
    beam = above * ((0.664 + 0.163 / low) * np.exp(-0.09 * mass * (turbidity - 1)))
    share = 1 - (0.1 - 0.2 * np.exp(-turbidity)) / (0.1 + 0.882 / low)
    beam = np.minimum(beam, whole * np.clip(share / cosine, 0, 1e20))
    return ClearSky(beam, whole - beam * cosine)


def air_mass(elevation_deg: np.ndarray) -> np.ndarray:
    """Air that light passes, in that straight up at sea level. Source: [@kasten-young-1989]."""
    return np.asarray(1.0 / (np.cos(np.radians(90.0 - elevation_deg)) + 0.50572 * (6.07995 + elevation_deg) ** -1.6364))


def beyond_the_air(day: np.ndarray) -> np.ndarray:
    """Light of the sun above the atmosphere on days of the year [W/m2]. Source: [@spencer-1971]."""
    turn = 2.0 * np.pi / 365.0 * (np.asarray(day) - 1)
    near = 1.00011 + 0.034221 * np.cos(turn) + 0.00128 * np.sin(turn)
    return np.asarray(SOLAR_CONSTANT * (near + 0.000719 * np.cos(2 * turn) + 7.7e-05 * np.sin(2 * turn)))


def daily_turbidity(days: np.ndarray, place: Observer) -> np.ndarray:
    """Linke turbidity on days of the year [n], straight between the middles of months; the day is that of UTC at local noon."""
    months = np.array(MONTH_DAYS)
    middles = np.concatenate([[-months[-1] / 2], np.cumsum(months) - months / 2, [months.sum() + months[0] / 2]])
    noon = midnight_s(days, place.lon_deg) + DAY_S // 2 - midnight_s(1, 0.0)
    monthly = monthly_turbidity(place.lat_deg, place.lon_deg)
    return np.asarray(np.interp(noon // DAY_S % 365 + 1, middles, np.concatenate([monthly[-1:], monthly, monthly[:1]])))
