"""What all sun charts of a farm share: its frame with the surface, and the light of a year."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from tunnelsite.core.counting import listed
from tunnelsite.core.site import Frame, Site
from tunnelsite.plans.sunchart.site_horizon import PointHorizon, Surroundings, horizon_at
from tunnelsite.scan.localise import frame_grid, localised
from tunnelsite.scan.surface import add_surface
from tunnelsite.screening.crop_sun import bare_months
from tunnelsite.settings.model import Settings
from tunnelsite.sun.film import FilmLight
from tunnelsite.sun.irradiance import SunSteps, clear_sky_steps, weather_steps
from tunnelsite.sun.position import Observer
from tunnelsite.sun.season import BareTrees

EAST_NORTH_DEG = (90.0, 0.0)


@dataclass(frozen=True)
class SunView:
    """A farm as sun charts see it.

    Attributes:
        site: with its far DEM. frame: of that site, with its surface. settings: of the screening.
        bare: when deciduous trees are bare, or None. steps: the sun and the light of a year at the farm, None = made for each point.
        ridges: what film passes of them, by bearing [deg].
    """

    site: Site
    frame: Frame
    settings: Settings
    bare: BareTrees | None = None
    steps: SunSteps | None = None
    ridges: Mapping[float, FilmLight] = field(default_factory=dict)

    def steps_at(self, place: Observer) -> SunSteps:
        """The sun and the light of a year at a point: those of the farm where they are there."""
        if self.steps is not None:
            return self.steps
        return clear_sky_steps(place) if self.site.weather is None else weather_steps(self.site.weather, place)

    def with_farm_steps(self) -> SunView:
        """The same with the light of the farm's middle for every point, for many charts of one farm."""
        frame = self.frame
        steps = self.steps_at(Observer(frame.lat_deg, frame.lon_deg, frame.datum_m))
        ridges = {bearing: FilmLight.of(steps, bearing) for bearing in {*EAST_NORTH_DEG, *self.settings.bearings}}
        return replace(self, steps=steps, ridges=ridges)

    def ridges_of(self, steps: SunSteps, bearing_deg: float) -> list[FilmLight]:
        """What film passes of a year's light with the ridge east-west, north-south and at a bearing [deg]."""
        wanted = (*EAST_NORTH_DEG, bearing_deg)
        shared = self.ridges if steps is self.steps else {}
        return [shared[one] if one in shared else FilmLight.of(steps, one) for one in wanted]

    def seen_from(self, lon_deg: float, lat_deg: float) -> PointHorizon:
        """The horizon at a point (WGS 84). Errors: UsageError off the data; InputRefused for the far land."""
        around = Surroundings(self.bare, self.site.far_dem, self.settings.far_reach_m)
        seen = horizon_at(self.frame, lon_deg, lat_deg, self.settings.light_height_m, around)
        kinds = (("surface", self.site.surface), ("obstacles", self.site.obstacles))
        there = [f"the {what}" for what, item in kinds if item is not None]
        shade = f"shade from {listed(['the ground', *there])}, as far as the data reach"
        notes = [*seen.notes, shade if there else shade + ": trees and buildings are not in it"]
        if seen.surface.foliage is not None:
            notes.append(
                "light uses crown transmission; sun hours treat crowns as opaque; the space under a crown_base_m is open, trunks are "
                "left out"
            )
        return replace(seen, notes=tuple(notes))


def sun_view(site: Site, settings: Settings, frame: Frame | None = None) -> SunView:
    """A site as sun charts see it. Arguments: site; settings; frame of it that has its surface, None = made here."""
    if frame is None:
        grid = frame_grid(site, bearing_deg=90.0, cell_m=settings.cell_m, halo_m=settings.halo_m)
        frame = localised(site, grid)
        add_surface(frame, settings.bare_transmission)
    return SunView(site, frame, settings, bare_months(settings, frame.lat_deg))
