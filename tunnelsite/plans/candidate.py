"""From a finished screening back to one placement: the same frame again, with the candidate in the middle of a cell."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely

from tunnelsite.core.errors import InputRefused
from tunnelsite.core.grid import Grid, geographic_wkt, transformer
from tunnelsite.core.house import House, Pad
from tunnelsite.core.site import Frame, Site
from tunnelsite.core.stakes import DesignPlane
from tunnelsite.io.read.sites_file import ScreenedCandidate, read_candidate
from tunnelsite.plans.grading.judged_ground import felt_ground, judged_ground
from tunnelsite.plans.grading.pad_plane import PadCells, quick_plane
from tunnelsite.plans.grading.settings import GradingSettings
from tunnelsite.plans.limits import site_limits
from tunnelsite.plans.place import Place
from tunnelsite.plans.site_limits import SiteLimits
from tunnelsite.scan.doubts import SURFACE_LIKE
from tunnelsite.scan.localise import frame_grid, localised
from tunnelsite.scan.pitch_error import counted_error, stated_error
from tunnelsite.settings.model import Settings, settings_from

# What decides where the cells lie, what is graded and how: taken from the screening unless it is given anew.
KEPT = (
    "kind",
    "ridge",
    "elevation_unit",
    "dem_crs",
    "band",
    "zero_is_nodata",
    "cell",
    "halo",
    "apron",
    "pad_pitch",
    "shrink",
    "clearance",
    "setback",
    "elevation_error",
    "error_range",
)
SAME_CELL = 0.001  # of a cell: coordinates are kept to far less, so a larger shift is another grid
SAME_PLANE_M = 0.002


@dataclass(frozen=True)
class Candidate:
    """One candidate on its frame.

    Attributes:
        site, settings, frame: what was read. ground: float64 [rows, cols], heights [m] in the DEM's own datum.
        place: grid, centre cell, house and pad. parcel: the parcel that holds it, in the grid's along and across [m].
        rank, title: which one, in words. lon_deg, lat_deg: its centre (WGS 84).
        screened: as the screening wrote it. notes: what differs from it and what was assumed.
    """

    site: Site
    settings: Settings
    frame: Frame
    ground: np.ndarray
    place: Place
    parcel: shapely.Geometry
    rank: int
    title: str
    lon_deg: float
    lat_deg: float
    screened: ScreenedCandidate
    notes: tuple[str, ...]

    @property
    def limits(self) -> SiteLimits:
        """What bounds earthwork there."""
        return site_limits(self.frame, self.parcel, self.settings.clearance_m, self.settings.setback_m)

    @property
    def judged(self) -> np.ndarray:
        """The ground as the screening judged it there: less what errors of the elevations alone would show."""
        at = (self.place.row, self.place.col)
        error = counted_error(self.frame, at, stated_error(self.frame, *self.settings.error))
        return judged_ground(felt_ground(self.ground, self.place, 0.0), self.place, error)

    def screened_plane(self) -> DesignPlane:
        """The design plane of the screening, found again: least squares, clipped to the finished slope, balanced."""
        graded = GradingSettings(max_slope=self.settings.pad_pitch, shrink=self.settings.shrink, topsoil_m=0.0)
        cells = PadCells.of(self.place, graded, self.judged)
        return quick_plane(self.place, graded, cells)


def kept_settings(screened: ScreenedCandidate, given: Mapping[str, Any]) -> tuple[dict[str, Any], list[str]]:
    """Settings for going on from a screening, and words where they differ from it.

    Arguments: screened; given, from the project file and the command line, which win.
    """
    fields = {field.alias or name: name for name, field in Settings.model_fields.items()}
    then = screened.settings()
    base = {name: then[fields[name]] for name in KEPT if fields[name] in then}
    if "zero_is_nodata" in base:
        base["zero_is_nodata"] = base["zero_is_nodata"] == "True"
    values = base | dict(given)
    values["house"] = [str(screened.row["house"])] if _is_size(screened.row["house"]) else ["30x96ft"]
    unchanged = {name: value for name, value in values.items() if name not in KEPT} | base
    now, before = settings_from(values), settings_from(unchanged)
    notes = [
        f"{name.replace('_', ' ')} is {getattr(now, fields[name])} here, {getattr(before, fields[name])} in the screening"
        for name in KEPT
        if getattr(now, fields[name]) != getattr(before, fields[name])
    ]
    return values, notes


def find_candidate(given: Mapping[str, Any], sites: str, rank: int, *, near_m: float | None = None) -> Candidate:
    """One candidate of a screening on the frame of its inputs.

    Arguments: given, settings by name as in a project file; sites, the screening's GeoPackage; rank, from 1; near_m,
    how much land round the parcels is needed [m], None = as in the screening.
    Errors: InputRefused, UsageError as `read_candidate` and `site_from`; InputRefused for a candidate off the DEM.
    """
    from tunnelsite.io.read.site import site_from

    screened = read_candidate(sites, rank)
    values, notes = kept_settings(screened, given)
    if near_m is not None:
        values["halo"] = min(settings_from(values).halo_m, near_m)
    settings = settings_from(values)
    site = site_from(settings)
    notes += other_inputs(screened, site)
    lon, lat = float(screened.row["lon"]), float(screened.row["lat"])
    bearing = nominal_bearing(screened)
    grid, row, col, off = centred(
        frame_grid(site, bearing_deg=bearing, cell_m=settings.cell_m, halo_m=settings.halo_m), lon, lat
    )
    if off > SAME_CELL * grid.cell_m:
        notes.append(
            f"the candidate's centre lies {off:.2f} m from a cell centre of these inputs: the grid was moved to it, and "
            "numbers differ a little from the screening"
        )
    if not (0 <= row < grid.rows and 0 <= col < grid.cols):
        raise InputRefused(
            f"candidate {rank} of {screened.file} at {lon:.6f}, {lat:.6f} lies off {site.dem.name} and its parcels",
            "the DEM and parcels of the screening",
            "name the files that were screened",
        )
    frame = localised(site, grid)
    house = _house(screened, settings)
    place = Place(grid, row, col, house, Pad.around(house, settings.apron_m))
    parcel = _parcel(frame, place, str(screened.row["parcel"]), notes)
    ground = frame.ground.astype(np.float64) + frame.datum_m
    title = f"Candidate {rank}, {screened.row['parcel']}, {house.name}"
    notes = [
        *frame.doubts,
        *notes,
        *(f"{item.name}: {note}" for item in (site.dem, site.parcels) for note in item.notes),
    ]
    if SURFACE_LIKE in str(screened.row.get("flags")):
        notes.insert(0, f"{site.dem.name} looks like a surface model: {SURFACE_LIKE}")
    found = Candidate(site, settings, frame, ground, place, parcel, rank, title, lon, lat, screened, tuple(notes))
    return replace(found, notes=(*found.notes, *_other_plane(found)))


def other_inputs(screened: ScreenedCandidate, site: Site) -> list[str]:
    """Words where an input is not the one that was screened, by SHA-256 in the run table."""
    known = screened.digests()
    everything = set().union(*known.values()) if known else set()
    said = []
    for item, what in ((site.dem, "DEM"), (site.parcels, "parcels file")):
        if item.sha256 not in everything:
            why = "its contents differ" if item.name in known else "no file of that name was screened"
            said.append(
                f"{item.name} is NOT the {what} of the screening ({why}): heights and places here are of this one"
            )
    return said


def nominal_bearing(screened: ScreenedCandidate) -> float:
    """The bearing that was asked for [deg]: of those the screening tried, the one nearest to the candidate's own."""
    true = float(screened.row["bearing_deg"])
    tried = screened.bearings() or [true]
    return min(tried, key=lambda bearing: abs((bearing - true + 90.0) % 180.0 - 90.0))


def centred(grid: Grid, lon_deg: float, lat_deg: float) -> tuple[Grid, int, int, float]:
    """The grid with a cell centre at a point, moved by less than a cell where none lies there.

    Arguments: grid; lon_deg, lat_deg (WGS 84).
    Return: grid, row, col of that cell, and how far the grid was moved [m].
    """
    east, north = transformer("EPSG:4326", grid.crs_wkt).transform(lon_deg, lat_deg)
    if not math.isfinite(east):  # a datum that PROJ cannot tie to WGS 84: its own longitude and latitude
        east, north = transformer(geographic_wkt(grid.crs_wkt), grid.crs_wkt).transform(lon_deg, lat_deg)
    along, across = grid.from_map(east, north)
    row = math.floor((grid.north_m - across) / grid.cell_m)
    col = math.floor((along - grid.west_m) / grid.cell_m)
    there = grid.centre(row, col)
    off = (along - there[0], across - there[1])
    if math.hypot(*off) <= SAME_CELL * grid.cell_m:
        return grid, row, col, 0.0
    return replace(grid, west_m=grid.west_m + off[0], north_m=grid.north_m + off[1]), row, col, math.hypot(*off)


def _house(screened: ScreenedCandidate, settings: Settings) -> House:
    row = screened.row
    name, feet = str(row["house"]), False
    if _is_size(name):
        feet = House.parse(name).feet
    sizes = (float(row["width_m"]), float(row["length_m"]))
    return House(*sizes, settings.kind, settings.ridge_m, name, feet)


def _is_size(name: object) -> bool:
    from tunnelsite.core.errors import UsageError

    try:
        House.parse(str(name))
    except UsageError:
        return False
    return True


def _parcel(frame: Frame, place: Place, name: str, notes: list[str]) -> shapely.Geometry:
    centre = shapely.Point(place.centre)
    holding = [k for k, parcel in enumerate(frame.parcels) if shapely.covers(parcel, centre)]
    named = [k for k in holding if frame.parcel_names[k] == name]
    if named or holding:
        return frame.parcels[(named or holding)[0]]
    notes.append(f"no parcel of {frame.parcel_names} holds the candidate: these are not the parcels of the screening")
    return shapely.Polygon()


def _other_plane(found: Candidate) -> list[str]:
    """Words where the design plane found again is not the screening's."""
    level, *slopes = (found.screened.pad_number(name) for name in ("level_m", "slope_along_pct", "slope_across_pct"))
    if not all(map(math.isfinite, (level, *slopes))):
        return []
    plane = DesignPlane(level, *(slope / 100 for slope in slopes))
    now = found.screened_plane()
    u, v = (
        np.array([-1, -1, 1, 1]) * found.place.pad.length_m / 2,
        np.array([-1, 1, -1, 1]) * found.place.pad.width_m / 2,
    )
    off = float(np.abs(plane.height(u, v) - now.height(u, v)).max())
    if off <= SAME_PLANE_M:
        return []
    return [f"the design plane differs from the screening's by up to {off:.3f} m: inputs or settings are not the same"]
