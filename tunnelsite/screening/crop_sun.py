"""The sun of a run: where it stands in the crop months and what it gives, and when trees are bare."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from tunnelsite.core.site import Frame, Site
from tunnelsite.core.units import days_of
from tunnelsite.settings.model import Settings, crop_period

if TYPE_CHECKING:
    from tunnelsite.sun.season import BareTrees


def sun_table(site: Site, frame: Frame, settings: Settings) -> np.ndarray:
    """The sun of the crop months at the farm (see `sun.season.season_sun`), by clear sky or the site's weather file."""
    from tunnelsite.sun import irradiance, season
    from tunnelsite.sun.position import Observer

    place = Observer(frame.lat_deg, frame.lon_deg, frame.datum_m)
    period = crop_period(settings.crop_months)
    if site.weather is None:
        steps = irradiance.clear_sky_steps(place, of_days=days_of(period))
    else:
        steps = irradiance.weather_steps(site.weather, place)
        frame.notes += [f"light weighed by {steps.source}", *steps.notes]
    kinds = frame.crowns.kinds if frame.crowns is not None else ()
    return season.season_sun(steps, period, bare_months(settings, frame.lat_deg), kinds)


def bare_months(settings: Settings, lat_deg: float) -> BareTrees | None:
    """When deciduous trees are bare, as set or as usual at this latitude."""
    from tunnelsite.sun.season import BareTrees, bare_trees

    if settings.bare_trees is None:
        return bare_trees(lat_deg, settings.bare_transmission)
    if settings.bare_trees == "never":
        return None
    return BareTrees(crop_period(settings.bare_trees), settings.bare_transmission)
