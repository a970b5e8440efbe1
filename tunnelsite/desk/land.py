"""The farm as it is read for the map: with the parcels where there are some, else all of the terrain model, as coarse as need be."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from tunnelsite.core.house import Pad
from tunnelsite.core.site import Frame, Site
from tunnelsite.core.units import FOOT_M
from tunnelsite.io.read.site import site_from
from tunnelsite.scan.engine import Scan
from tunnelsite.scan.open_ground import OpenGround
from tunnelsite.screening.judges import judges_of
from tunnelsite.screening.layers import framed
from tunnelsite.screening.result import Result
from tunnelsite.settings.model import Settings

MOST_CELLS = 4_000_000  # of a map that is looked at before anything is asked of it


@dataclass(frozen=True)
class Looked:
    """A farm as it was read: site, frame."""

    site: Site
    frame: Frame

    @property
    def version(self) -> str:
        """Another one for other data, so that a browser keeps no image of the old."""
        return self.site.dem.sha256[:8] + self.site.parcels.sha256[:8]

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


def ground_alone(found: Looked, settings: Settings) -> Result:
    """A result without any ranking, for what can be said of a house before a screening: by the criteria whose layers are there."""
    frame = found.frame
    judges = [
        judge
        for judge in judges_of(found.site, settings, settings.kind)
        if all(spec.optional or spec.id in frame.layers for spec in judge.criterion.description.reads)
    ]
    house = settings.houses[0]
    empty = OpenGround(np.empty((0, 0), np.int8), np.zeros(len(frame.parcels), np.int64), {}, [])
    scan = Scan(
        frame, house, Pad.around(house, settings.apron_m), np.empty(0, np.int64), np.empty(0, np.int32), {}, {}, empty
    )
    return Result(found.site, settings, [scan], judges, [np.empty(0)], [np.empty(0)], [])
