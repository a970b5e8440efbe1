"""Light at one point by month: the horizon there against the sun's way, which the whole farm shares."""

from __future__ import annotations

from functools import cached_property
from typing import Any

from tunnelsite.core.site import Frame, Site
from tunnelsite.core.units import MONTHS, days_of
from tunnelsite.plans.sunchart.site_horizon import PointHorizon, Surroundings, horizon_at
from tunnelsite.screening.crop_sun import bare_months
from tunnelsite.settings.model import Settings, crop_period
from tunnelsite.sun.irradiance import SunSteps, clear_sky_steps, weather_steps
from tunnelsite.sun.position import Place, day_of_year
from tunnelsite.sun.received import light_received

OPEN = 0.9995  # what rounds to all of the light


class PointLight:
    """Light at points of one frame, which has its surface."""

    def __init__(self, site: Site, frame: Frame, settings: Settings) -> None:
        self.site, self.frame, self.settings = site, frame, settings

    @cached_property
    def steps(self) -> SunSteps:
        """The sun of a year at the farm; it stands the same all over it."""
        place = Place(self.frame.lat_deg, self.frame.lon_deg, self.frame.datum_m)
        return clear_sky_steps(place) if self.site.weather is None else weather_steps(self.site.weather, place)

    def horizon(self, lon: float, lat: float) -> PointHorizon:
        """What is seen from a place at the height of the crops. Errors: UsageError off the data."""
        around = Surroundings(bare_months(self.settings, lat), self.site.far_dem, self.settings.far_reach_m)
        return horizon_at(self.frame, lon, lat, self.settings.light_height_m, around)

    def told(self, lon: float, lat: float) -> dict[str, Any]:
        """The twelve months in the middle of the house, and the darkest with crops. Errors: UsageError off the data."""
        period = crop_period(self.settings.crop_months)
        light = light_received(self.horizon(lon, lat).surface, self.steps, period)
        crops = set(days_of(period))
        months = [
            {
                "month": month,
                "name": MONTHS[month - 1].capitalize(),
                "share": one.beam_share,
                "crop": day_of_year(month, 15) in crops,
            }
            for month, one in enumerate(light.months, 1)
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
