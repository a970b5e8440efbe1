"""The farm as it is read for the map: with the parcels where there are some, else all of the terrain model, as coarse as need be."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from tunnelsite.core.site import Frame, Site
from tunnelsite.core.units import FOOT_M
from tunnelsite.io.read.site import site_from
from tunnelsite.screening.run import framed
from tunnelsite.settings.model import Settings

MOST_CELLS = 4_000_000  # of a map that is looked at before anything is asked of it


@dataclass(frozen=True)
class Looked:
    """A farm as it was read: site, frame."""

    site: Site
    frame: Frame

    def words(self, feet: bool) -> dict[str, Any]:
        """What the sheet says of it."""
        unit = {"m": "metres", "ft": "feet", "us-ft": "US survey feet"}.get(self.site.dem.unit, self.site.dem.unit)
        cell = self.frame.dem_cell_m
        size = f"{cell / FOOT_M:.3g} ft" if feet else f"{cell:.3g} m"
        return {
            "ground": f"{self.site.dem.name}: {size} cells, heights in {unit}",
            "land": len(self.site.parcels),
            "doubts": self.frame.doubts,
            "notes": [*self.site.dem.notes, *self.frame.notes],
            "south": self.frame.lat_deg < 0,
        }


def looked_at(settings: Settings) -> Looked | None:
    """The farm that settings name; None where there is no terrain model yet. Errors: those of the readers."""
    if settings.dem is None or settings.parcels is None:
        return None
    site = site_from(settings)
    return Looked(site, framed(site, settings, settings.bearings[0]))
