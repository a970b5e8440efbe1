"""Which way the ridge points: from true north, from the map's grid north and on a compass.

Sign convention, the same for both: an angle from true north to the other north is positive CLOCKWISE, so that grid
north or magnetic north lies EAST of true north where it is positive. A bearing from the other north is the true bearing
less that angle. PROJ and the WMM use the same signs; some texts give convergence the other sign.
"""

from __future__ import annotations

import calendar
import datetime
import math
from dataclasses import dataclass

import pyproj
from pygeomag import GeoMag
from pygeomag.wmm.wmm_2025 import WMM_2025

from tunnelsite.core.errors import UsageError
from tunnelsite.core.grid import horizontal

MODEL = "WMM2025"
VALID_FROM, VALID_UNTIL = datetime.date(2025, 1, 1), datetime.date(2029, 12, 31)
# Horizontal field [nT] below which a compass is not to be used, or only with caution: WMM technical report.
BLACKOUT_NT, CAUTION_NT = 2000.0, 6000.0


@dataclass(frozen=True)
class Declination:
    """Magnetic declination at one spot and day.

    Attributes:
        declination_deg: true bearing of magnetic north, + = east [deg].
        error_deg: the model's own one-sigma error [deg]; iron, wires and local rock come on top.
        change_deg_per_year: how it moves [deg/a].
        date: the day it holds for. note: a caution, or ``.
    """

    declination_deg: float
    error_deg: float
    change_deg_per_year: float
    date: datetime.date
    note: str = ""

    @property
    def words(self) -> str:
        """The declination with its model, day and validity."""
        side = "east" if self.declination_deg >= 0 else "west"
        return (
            f"{abs(self.declination_deg):.2f} deg {side} on {self.date.isoformat()} (World Magnetic Model {MODEL}, "
            f"valid {VALID_FROM.isoformat()} to {VALID_UNTIL.isoformat()}, standard error {self.error_deg:.2f} deg)"
        )


@dataclass(frozen=True)
class RidgeBearings:
    """Bearings of one ridge [deg, clockwise, 0 to 360]; None with a reason in `notes` where one cannot be given."""

    true_deg: float
    grid_deg: float | None
    magnetic_deg: float | None
    convergence_deg: float | None
    declination: Declination | None
    grid_name: str
    notes: tuple[str, ...]


def convergence_deg(crs: pyproj.CRS, lon_deg: float, lat_deg: float) -> float:
    """Meridian convergence: the true bearing of grid north, positive where grid north lies east of true north.

    Arguments: crs, a projected system; lon_deg, lat_deg [deg] on its own datum.
    Errors: UsageError for a system without a grid, with axes that do not point east and north, or a spot outside it.
    Source: PROJ `proj_factors` (`meridian_convergence`), which differentiates the projection numerically.
    """
    crs = horizontal(crs)
    directions = {axis.direction.lower() for axis in crs.axis_info}
    if not crs.is_projected or directions != {"east", "north"}:
        kind = "no map grid" if not crs.is_projected else f"axes that point {' and '.join(sorted(directions))}"
        raise UsageError(
            f"{crs.name} has {kind}", "a projected system with easting and northing", "use the true bearing"
        )
    angle = pyproj.Proj(crs).get_factors(lon_deg, lat_deg, errcheck=False).meridian_convergence
    if not math.isfinite(angle):
        raise UsageError(f"{lon_deg:g}, {lat_deg:g} lies outside {crs.name}", "a spot it covers", "use another system")
    return float(angle)


def decimal_year(date: datetime.date) -> float:
    """A day as a decimal year, by days of that year (start of the day)."""
    days = 366 if calendar.isleap(date.year) else 365
    return date.year + (date.timetuple().tm_yday - 1) / days


def check_day(date: datetime.date) -> None:
    """Errors: UsageError for a day outside the life of the magnetic model."""
    if not VALID_FROM <= date <= VALID_UNTIL:
        raise UsageError(
            f"{MODEL} was asked for {date.isoformat()}",
            f"a day from {VALID_FROM.isoformat()} to {VALID_UNTIL.isoformat()}, the life of the model",
            "give a day within it, or use a release of tunnelsite with the next model; until then go by true north",
        )


def declination(lon_deg: float, lat_deg: float, height_m: float, date: datetime.date) -> Declination:
    """Magnetic declination from the World Magnetic Model 2025.

    Arguments: lon_deg, lat_deg (WGS 84) [deg]; height_m above sea level or the ellipsoid (the difference moves the
    result by less than 0.01 deg) [m]; date, the day in the field.
    Errors: UsageError for a day outside the model's five years (it is never extrapolated), a spot or height outside its
    range, or one so near a magnetic pole that no compass works.
    Source: NOAA/NCEI and British Geological Survey, WMM2025 coefficients (public domain), degree 12, valid 2025.0 to
    2030.0; evaluated by `pygeomag` (MIT licence), which carries them.
    """
    check_day(date)
    if not (-180 <= lon_deg <= 360 and -90 <= lat_deg <= 90 and -1000 <= height_m <= 850_000):
        raise UsageError(
            f"{MODEL} was asked for longitude {lon_deg}, latitude {lat_deg}, height {height_m} m",
            "longitude -180 to 360, latitude -90 to 90, height -1000 to 850000 m",
            "correct the place",
        )
    model, year = GeoMag(coefficients_data=WMM_2025), decimal_year(date)
    lon = lon_deg - 360 if lon_deg > 180 else lon_deg
    field = model.calculate(glat=lat_deg, glon=lon, alt=height_m / 1000, time=year)
    if field.h < BLACKOUT_NT:
        raise UsageError(
            f"the horizontal field at {lat_deg:g}, {lon_deg:g} is {field.h:.0f} nT",
            f"at least {BLACKOUT_NT:.0f} nT for a compass to be of use",
            "go by true north",
        )
    # The coefficients move straight in time: half a year either way, inside the model's life, gives the yearly change.
    early, late = max(year - 0.5, 2025.0), min(year + 0.5, 2030.0)
    ends = [model.calculate(glat=lat_deg, glon=lon, alt=height_m / 1000, time=when).d for when in (early, late)]
    change = ((ends[1] - ends[0] + 180) % 360 - 180) / (late - early)
    note = "weak horizontal field: compass readings are doubtful here" if field.h < CAUTION_NT else ""
    return Declination(field.d, field.calculate_uncertainty().d, change, date, note)


def ridge_bearings(
    true_deg: float,
    lonlat_deg: tuple[float, float],
    height_m: float,
    crs: pyproj.CRS,
    date: datetime.date | None = None,
) -> RidgeBearings:
    """The ridge's bearing from true, grid and magnetic north at one spot.

    Arguments: true_deg, from true north there [deg]; lonlat_deg (longitude, latitude) [deg]; height_m [m]; crs, the
    map's; date, the day in the field, None = no compass bearing (today is never assumed).
    Errors: UsageError for a day outside the magnetic model.
    """
    notes = []
    try:
        convergence = convergence_deg(crs, *lonlat_deg)
    except UsageError as error:
        convergence = None
        notes.append(f"no grid bearing: {error.given}")
    found = None
    if date is None:
        notes.append("no compass bearing: no day was given, and magnetic north moves")
    else:
        found = declination(*lonlat_deg, height_m, date)
        notes += [found.note] if found.note else []
    return RidgeBearings(
        true_deg % 360.0,
        None if convergence is None else (true_deg - convergence) % 360.0,
        None if found is None else (true_deg - found.declination_deg) % 360.0,
        convergence,
        found,
        horizontal(crs).name,
        tuple(notes),
    )
