"""A year of solar radiation as a weather file gives it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Weather:
    """Hourly radiation of one (typical) year, on the calendar of a 365-day year.

    Attributes:
        start_s: start of each hour, seconds since 1970 in UTC, in the project's sun year [n].
        month, day: of local standard time, 1..12 and 1..365 [n].
        beam_normal_wh, diffuse_wh, global_wh: energy of each hour [Wh/m2] [n]: beam on a plane facing the sun, the
        other two on a horizontal one.
        lat_deg, lon_deg, altitude_m: of the station. utc_offset_h: of its local standard time.
        name, sha256: of the file. notes: what was found, assumed or dropped.
    """

    start_s: np.ndarray
    month: np.ndarray
    day: np.ndarray
    beam_normal_wh: np.ndarray
    diffuse_wh: np.ndarray
    global_wh: np.ndarray
    lat_deg: float
    lon_deg: float
    altitude_m: float
    utc_offset_h: float
    name: str = ""
    sha256: str = ""
    notes: tuple[str, ...] = ()
