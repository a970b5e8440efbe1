"""The sun over a period: positions from NREL SPA and clear-sky beam irradiance, through pvlib."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tunnelsite.core.units import MONTH_DAYS

YEAR = 2025  # any 365-day year serves: positions on a day differ by less than 0.2 deg from year to year
STEP_MINUTES = 10
DELTA_T_S = 69.0  # TT - UT1 around 2025 (IERS, from memory); a whole second moves the sun by 0.004 deg


@dataclass(frozen=True)
class SunPath:
    """Sun positions above the horizon.

    Attributes:
        azimuth_deg: clockwise from true north [n]. elevation_deg: with refraction [n].
        beam_wh: clear-sky beam energy on a horizontal plane of each step [Wh/m2] [n].
        month: 1..12 [n].
    """

    azimuth_deg: np.ndarray
    elevation_deg: np.ndarray
    beam_wh: np.ndarray
    month: np.ndarray


def days_of(period: tuple[tuple[int, int], tuple[int, int]]) -> np.ndarray:
    """Days of the year (1..365) from the first to the last day of a period, which may wrap the year."""
    starts = np.concatenate([[0], np.cumsum(MONTH_DAYS)])
    first, last = (int(starts[month - 1]) + day for month, day in period)
    return (
        np.arange(first, last + 1) if first <= last else np.concatenate([np.arange(first, 366), np.arange(1, last + 1)])
    )


def sun_path(
    lat_deg: float,
    lon_deg: float,
    altitude_m: float,
    period: tuple[tuple[int, int], tuple[int, int]],
    step_minutes: int = STEP_MINUTES,
) -> SunPath:
    """Sun positions every `step_minutes` of every day of a period (UTC throughout, so no clock changes), and the beam.

    Arguments: lat_deg, lon_deg [deg]; altitude_m [m]; period ((month, day), (month, day)); step_minutes.
    Source: Reda & Andreas 2003 (NREL/TP-560-34302) and Ineichen & Perez 2002 with the monthly Linke turbidity map of
    SoDa/Meteotest, all as implemented in pvlib. Empty in polar night.
    """
    import pandas as pd
    from pvlib import atmosphere, clearsky, irradiance, spa

    days = days_of(period)
    start = np.datetime64(f"{YEAR}-01-01", "s")
    dates = start + (days - 1).astype("timedelta64[D]")
    minutes = np.arange(step_minutes / 2, 1440, step_minutes)
    seconds = (dates.astype(np.int64)[:, None] + np.round(minutes * 60).astype(np.int64)).ravel().astype(np.float64)
    pressure = atmosphere.alt2pres(altitude_m)
    zenith, _, elevation, _, azimuth, _ = spa.solar_position(
        seconds, lat_deg, lon_deg, altitude_m, pressure / 100, 12.0, DELTA_T_S, 0.5667
    )[:6]
    up = elevation > 0
    day = np.repeat(days, len(minutes))[up]
    turbidity = clearsky.lookup_linke_turbidity(pd.DatetimeIndex(dates, tz="UTC"), lat_deg, lon_deg).to_numpy()
    airmass = atmosphere.get_absolute_airmass(atmosphere.get_relative_airmass(zenith[up]), pressure)
    extra = irradiance.get_extra_radiation(day)
    beam = clearsky.ineichen(zenith[up], airmass, np.repeat(turbidity, len(minutes))[up], altitude_m, extra)["dni"]
    energy = np.nan_to_num(np.asarray(beam)) * np.sin(np.radians(elevation[up])) * step_minutes / 60
    month = np.searchsorted(np.cumsum(MONTH_DAYS), day) + 1
    return SunPath(azimuth[up], elevation[up], energy, month)
