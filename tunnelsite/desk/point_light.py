"""Light at one point by month: the horizon there against the sun's way, which the whole farm shares."""

from __future__ import annotations

from copy import copy
from functools import cached_property
from typing import Any

import numpy as np

from tunnelsite.core.horizon import Horizon
from tunnelsite.core.placement import Placement
from tunnelsite.core.site import Frame, Site
from tunnelsite.core.units import MONTHS
from tunnelsite.plans.sunchart.chart import Clock, Details, horizon_chart
from tunnelsite.plans.sunchart.picture import sun_chart_svg
from tunnelsite.plans.sunchart.site_horizon import surface_horizon
from tunnelsite.scan.far_ground import FarGround, far_ground
from tunnelsite.screening.crop_sun import bare_months
from tunnelsite.settings.model import Settings, crop_period
from tunnelsite.sun.irradiance import SunSteps, clear_sky_steps, weather_steps
from tunnelsite.sun.position import Observer
from tunnelsite.sun.received import light_received
from tunnelsite.sun.season import judged_months

OPEN = 0.9995  # what rounds to all of the light
EVERY_DEG = 3.0  # of the horizon; the sun chart looks every half degree
STEP_MINUTES = 20
CHART_DEG = 1.0
HALF_YEAR = ((12, 21), (1, 21), (2, 21), (3, 21), (4, 21), (5, 21), (6, 21))


class PointLight:
    """Light at points of one frame, which has its surface, behind all of its land and the far land of its site."""

    def __init__(self, site: Site, frame: Frame, settings: Settings) -> None:
        self.site, self.frame, self.settings = site, frame, settings

    def in_months(self, crop_months: str) -> PointLight:
        """The same for other crop months; the sun of the year is shared. Errors: UsageError for a period that is none."""
        crop_period(crop_months)
        other = copy(self)
        vars(other).update(steps=self.steps, azimuths=self.azimuths, far=self.far)
        other.settings = self.settings.model_copy(update={"crop_months": crop_months})
        return other

    @cached_property
    def steps(self) -> SunSteps:
        """The sun of a year at the farm; it stands the same all over it."""
        place = Observer(self.frame.lat_deg, self.frame.lon_deg, self.frame.datum_m)
        if self.site.weather is not None:
            return weather_steps(self.site.weather, place)
        return clear_sky_steps(place, STEP_MINUTES)

    @cached_property
    def far(self) -> FarGround | None:
        """The land beyond the frame. Errors: InputRefused as `far_ground`."""
        far_dem = self.site.far_dem
        return None if far_dem is None else far_ground(far_dem, self.frame, self.settings.far_reach_m)

    @cached_property
    def azimuths(self) -> np.ndarray:
        """Directions in which the sun ever stands [deg]."""
        every = np.arange(0.0, 360.0, EVERY_DEG)
        away = np.abs((self.steps.azimuth_deg[:, None] - every + 180.0) % 360.0 - 180.0).min(axis=0)
        return np.asarray(every[away <= EVERY_DEG])

    def horizon(self, lon: float, lat: float, azimuths: np.ndarray) -> Horizon:
        """What is seen from a place at the height of the crops, towards azimuths [deg]. Errors: UsageError off the data."""
        settings = self.settings
        bare = bare_months(settings, lat)
        return surface_horizon(self.frame, (lon, lat), settings.light_height_m, azimuths, bare, self.far)

    def shares(self, lon: float, lat: float) -> list[float | None]:
        """Share of the direct sun by month, January first; None where the sun does not rise. Errors: UsageError off the data."""
        horizon = self.horizon(lon, lat, self.azimuths)
        light = light_received(horizon, self.steps, crop_period(self.settings.crop_months))
        return [month.beam_share for month in light.months]

    def months_at(self, lon: float, lat: float) -> dict[str, Any]:
        """The twelve months in the middle of the house, and the darkest with crops. Errors: UsageError off the data."""
        period = crop_period(self.settings.crop_months)
        crops = judged_months(period)
        months: list[dict[str, Any]] = [
            {
                "month": month,
                "name": MONTHS[month - 1].capitalize(),
                "share": share,
                "crop": month in crops,
            }
            for month, share in enumerate(self.shares(lon, lat), 1)
        ]
        judged = [one for one in months if one["crop"] and one["share"] is not None]
        if not judged:
            return {"months": months, "darkest": None, "words": "no sun in the crop months"}
        darkest = min(judged, key=lambda one: one["share"])
        if darkest["share"] >= OPEN:
            return {
                "months": months,
                "darkest": None,
                "words": "all of the direct sun of the crop months reaches its middle",
            }
        words = f"darkest crop month: {darkest['name']}, {100 * darkest['share']:.0f} % of the direct sun reaches its middle"
        return {"months": months, "darkest": darkest["month"], "words": words}

    def chart(self, place: Placement) -> str:
        """The sun chart of a place as SVG, of half the year's paths (the other half runs the same ways) and by whole degrees.

        The sun is that of the farm's middle, which is 0.01 degrees off a kilometre away. Errors: UsageError off the data.
        """
        lon, lat = place.lon_deg, place.lat_deg
        frame = self.frame
        spot, middle = (Observer(*at, frame.datum_m) for at in ((lat, lon), (frame.lat_deg, frame.lon_deg)))
        details = Details(
            place.title, eye_m=self.settings.light_height_m, days=HALF_YEAR, sun_of=middle, feet=place.house.feet
        )
        horizon = self.horizon(lon, lat, np.arange(0.0, 360.0, CHART_DEG))
        return sun_chart_svg(horizon_chart(horizon, spot, Clock(), crop_period(self.settings.crop_months), details))
