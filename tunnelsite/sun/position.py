"""Where the sun is: NREL SPA through pvlib, for any point on earth and any instants."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import numpy as np

from tunnelsite.core.errors import UsageError
from tunnelsite.core.units import MONTH_DAYS
from tunnelsite.sun.of_pvlib import spa

YEAR = 2025  # any 365-day year serves: positions on a day differ by less than 0.2 deg from year to year
DELTA_T_S = 69.0  # TT - UT1 around 2025; a second moves the sun by 0.00001 deg [@delta-t]
TEMPERATURE_C = 12.0  # annual mean for refraction; 30 degrees more or less moves a rising sun by 0.06 deg
REFRACTION_DEG = 0.5667  # at the horizon, the value of SPA's worked example
DAY_S = 86_400
SUNLESS = "the sun does not rise"


@dataclass(frozen=True)
class Observer:
    """A point on earth: WGS 84 latitude and longitude [deg], altitude above sea level [m]."""

    lat_deg: float
    lon_deg: float
    altitude_m: float = 0.0

    @property
    def southern(self) -> bool:
        """Whether midwinter is in June here; the equator counts as north."""
        return self.lat_deg < 0


def sun_positions(seconds: np.ndarray, place: Observer) -> tuple[np.ndarray, np.ndarray]:
    """Azimuth and elevation of the centre of the sun.

    Arguments: seconds since 1970 in UTC [n]; place.
    Return: azimuth clockwise from true north, elevation with refraction [deg], each [n].
    Source: Reda & Andreas 2003, NREL/TP-560-34302, as implemented in pvlib; pressure from the altitude (standard atmosphere).
    """
    found = spa().solar_position(
        np.asarray(seconds, float),
        place.lat_deg,
        place.lon_deg,
        place.altitude_m,
        pressure_pa(place.altitude_m) / 100,
        TEMPERATURE_C,
        DELTA_T_S,
        REFRACTION_DEG,
    )
    return found[4], found[2]  # pvlib names them azimuth and (against its docstring) apparent elevation


def pressure_pa(altitude_m: float) -> float:
    """Air pressure at an altitude [Pa], of the standard atmosphere."""
    return float(100 * ((44331.514 - altitude_m) / 11880.516) ** (1 / 0.1902632))


def daylight_positions(seconds: np.ndarray, place: Observer) -> tuple[np.ndarray, np.ndarray]:
    """As `sun_positions`, but NaN and -90 where the sun is well down: nearly half of all instants, and SPA is slow.

    The mean sun tells: its declination, a cosine from the solstice of 1969, is within 1.5 deg of the sun's, its hour within 17 minutes
    (the equation of time), and refraction adds 0.6 deg; 8 deg are allowed for all of it.
    """
    seconds = np.asarray(seconds, float)
    latitude = np.radians(place.lat_deg)
    declination = -np.radians(23.44) * np.cos(2 * np.pi * (seconds / DAY_S + 10.0) / 365.2422)
    hour = 2 * np.pi * (seconds / DAY_S + place.lon_deg / 360.0 - 0.5)
    sine = np.sin(latitude) * np.sin(declination) + np.cos(latitude) * np.cos(declination) * np.cos(hour)
    near = sine > -np.sin(np.radians(8.0))
    azimuth, elevation = np.full(seconds.shape, np.nan), np.full(seconds.shape, -90.0)
    azimuth[near], elevation[near] = sun_positions(seconds[near], place)
    return azimuth, elevation


def utc_seconds(text: str) -> float:
    """Seconds since 1970 in UTC of a time as `2027-12-21T17:00Z`; or with an offset as `+01:00`.

    Errors: UsageError for anything else, and for years in which the fixed TT - UT1 of this module no longer holds to 0.01 deg.
    """
    try:
        when = datetime.fromisoformat(text.strip())
    except ValueError:
        when = None
    if when is None or "T" not in text.upper().strip().replace(" ", "T") or not 1980 <= when.year <= 2060:
        raise UsageError(
            f"the time is {text!r}", "a date and time of 1980 to 2060, as 2027-12-21T17:00Z", "write it like that"
        )
    if when.tzinfo is None:
        raise UsageError(
            f"the time is {text!r}, without its zone",
            "a time with its zone: Z for UTC, or as -05:00",
            f"write {text.strip()}Z if it is UTC, or add the offset of the clock",
        )
    return when.timestamp()


def declination_deg(seconds: np.ndarray) -> np.ndarray:
    """Geocentric declination of the sun [deg] at seconds since 1970 in UTC (SPA)."""
    return np.asarray(
        spa().solar_position(np.asarray(seconds, float), 0.0, 0.0, 0.0, 1013.25, 12.0, DELTA_T_S, 0.5667, sst=True)[2]
    )


def midnight_s(day: np.ndarray | int, lon_deg: float, year: int = YEAR) -> np.ndarray:
    """Local mean solar midnight at which a day of the year (1 = 1 January) begins, seconds since 1970 in UTC, whole seconds."""
    start = np.datetime64(f"{year}-01-01", "s").astype(np.int64)
    return start + (np.asarray(day, np.int64) - 1) * DAY_S - round(lon_deg * 240)


def day_of_year(month: int, day: int) -> int:
    """1..365."""
    return int(sum(MONTH_DAYS[: month - 1])) + day


def month_of(day: np.ndarray) -> np.ndarray:
    """Month (1..12) of days of the 365-day year."""
    return np.searchsorted(np.cumsum(MONTH_DAYS), np.asarray(day)) + 1


def solar_noon_s(day: np.ndarray | int, place: Observer, year: int = YEAR) -> np.ndarray:
    """When the sun crosses the meridian on a day, seconds since 1970 in UTC: mean noon less the equation of time (SPA)."""
    noon = (midnight_s(day, place.lon_deg, year) + DAY_S // 2).astype(float)
    equation_min = np.asarray(
        spa().solar_position(np.atleast_1d(noon), place.lat_deg, place.lon_deg, 0.0, 1013.25, 12.0, DELTA_T_S, 0.5667)[
            5
        ]
    )
    return np.asarray(np.atleast_1d(noon) - equation_min * 60)
