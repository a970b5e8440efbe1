"""The farm as it is read for the map: with the parcels where there are some, else all of the terrain model, as coarse as need be."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely

from tunnelsite.core.errors import NoHeights
from tunnelsite.core.grid import horizontal
from tunnelsite.core.house import Pad
from tunnelsite.core.layers import Features
from tunnelsite.core.reproject import to_grid
from tunnelsite.core.site import Frame, Site
from tunnelsite.core.units import FOOT_M
from tunnelsite.desk.held import held
from tunnelsite.desk.page_words import on_the_page
from tunnelsite.io.read.coarse import coarse_raster
from tunnelsite.io.read.drawn import read_drawn
from tunnelsite.io.read.raster_header import raster_header
from tunnelsite.io.read.site import site_from
from tunnelsite.scan.engine import Scan
from tunnelsite.scan.localise import frame_grid, native_cell_m, warped
from tunnelsite.scan.open_ground import OpenGround
from tunnelsite.scan.parcel_names import parcel_names
from tunnelsite.scan.pitch_error import shows_pitch
from tunnelsite.scan.surface import obstacle_shapes
from tunnelsite.screening.judges import judges_of
from tunnelsite.screening.layers import framed
from tunnelsite.screening.result import Result
from tunnelsite.settings.model import Settings

MOST_CELLS = 4_000_000  # of a map that is looked at before anything is asked of it


@dataclass(frozen=True)
class Looked:
    """A farm as it was read: site, frame; fields, how many there are."""

    site: Site
    frame: Frame
    fields: int

    @property
    def version(self) -> str:
        """Another one for other data, so that a browser keeps no image of the old."""
        return self.site.dem.sha256[:8] + self.site.parcels.sha256[:8]

    def words(self, feet: bool) -> dict[str, Any]:
        """What the sheet says of it."""
        unit = {"m": "metres", "ft": "feet", "us-ft": "US survey feet"}.get(self.site.dem.unit, self.site.dem.unit)
        cell = self.frame.dem_cell_m
        size = f"{cell:.3g} m cells" + (f" ({cell / FOOT_M:.1f} ft)" if feet else "")
        return {
            "ground": f"{self.site.dem.name}: {size}, heights in {unit}",
            "land": self.fields,
            "doubts": [on_the_page(words) for words in self.frame.doubts],
            "notes": [on_the_page(words) for words in (*self.site.dem.notes, *self.frame.notes)],
            "south": self.frame.lat_deg < 0,
        }


def looked_at(settings: Settings) -> Looked | None:
    """The bare ground and the features that settings name, as coarse as need be; all of the terrain model where there is no field yet.

    Return: None where there is no terrain model. Errors: those of the readers.
    """
    if settings.dem is None:
        return None
    if settings.parcels is None and not _has_fields(settings):
        return _whole(settings)
    site = site_from(settings)
    grid = frame_grid(site, bearing_deg=settings.bearings[0], cell_m=settings.cell_m, halo_m=settings.halo_m)
    wide = math.sqrt(grid.rows * grid.cols / MOST_CELLS)
    if wide > 1:
        cell = grid.cell_m * wide
        grid = frame_grid(site, bearing_deg=grid.bearing_deg, cell_m=cell, halo_m=settings.halo_m)
    lon, lat = (float(value) for value in grid.lonlat(0.0, 0.0))
    bare = Frame(grid, site.dem.datum_m, {"ground": warped(site.dem, grid)}, {"ground": "m"}, np.empty(0, object), [], lon, lat,
                 dem_cell_m=native_cell_m(site.dem, lon, lat), store=site.store)  # fmt: skip
    return Looked(site, _doubted(with_features(bare, site), settings), len(site.parcels))


def more_of(found: Looked, settings: Settings) -> Looked:
    """The same farm with what stands on it, its soils and lamps, which take longer to be read. Errors: InputRefused."""
    grid = found.frame.grid
    settings = settings.model_copy(update={"cell_m": grid.cell_m})
    return Looked(found.site, _doubted(framed(found.site, settings, grid.bearing_deg), settings), found.fields)


def _has_fields(settings: Settings) -> bool:
    return settings.drawn is not None and read_drawn(settings.drawn).fields is not None


def _whole(settings: Settings) -> Looked:
    """The terrain model alone."""
    header = raster_header(held(settings.dem), "DEM", crs=settings.dem_crs)
    dem = coarse_raster(header, MOST_CELLS, settings.elevation_unit, settings.band)
    west, south, east, north = header.bounds
    inset = 0.001 * (east - west), 0.001 * (north - south)
    box = shapely.box(west + inset[0], south + inset[1], east - inset[0], north - inset[1])
    all_of_it = Features(np.array([box], object), {}, horizontal(header.crs), dem.name)
    site = Site(dem, all_of_it)
    settings = settings.model_copy(update={"cell_m": None, "halo_m": 0.0})
    try:
        return Looked(site, _doubted(framed(site, settings, settings.bearings[0]), settings), 0)
    except NoHeights as problem:  # there are no parcels yet
        given = problem.given.replace(f" inside the parcels of {dem.name}", " at all")
        raise NoHeights(given, "a terrain model with heights in it", problem.fix) from None


def _doubted(frame: Frame, settings: Settings) -> Frame:
    """A frame that says where its cells are too wide to show the pitch under any of the houses."""
    if not any(shows_pitch(frame, house) for house in settings.houses):
        frame.doubts.append("its cells are too wide to show the pitch under a house: that will not be assessed")
    return frame


def with_features(frame: Frame, site: Site) -> Frame:
    """A frame with the features of its site as they are now; its layers stay. Errors: InputRefused."""

    def carried(features: Features) -> Features:
        return to_grid(features, frame.grid)

    obstacles = None if site.obstacles is None else carried(site.obstacles)
    return replace(
        frame,
        parcels=carried(site.parcels).geometry,
        parcel_names=parcel_names(site),
        obstacles=obstacles,
        structures=None if site.structures is None else carried(site.structures),
        lamps=None if site.lamps is None else carried(site.lamps),
        soils=None if site.soils is None else carried(site.soils),
        keep_outs=tuple(carried(item) for item in site.keep_outs),
        services={name: carried(item) for name, item in site.services.items()},
        outlines=obstacle_shapes(obstacles)[0] if obstacles is not None and len(obstacles) else np.empty(0, object),
    )


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
    return Result(found.site, settings, [scan], judges, [np.empty(0)], [], [])
