"""From a placement to its frame, with the house in the middle of a cell: what every plan of earth and stakes starts from."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pyproj
import shapely

from tunnelsite.core.errors import InputRefused, refuse_other
from tunnelsite.core.grid import Grid, geographic_wkt, transformer
from tunnelsite.core.house import House, Pad
from tunnelsite.core.placement import Placement
from tunnelsite.core.site import Frame, Site
from tunnelsite.core.stakes import DesignPlane
from tunnelsite.io.read.sites_file import ScreenedCandidate, read_candidate
from tunnelsite.plans.grading.earth_rule import EarthRule
from tunnelsite.plans.grading.judged_ground import felt_ground, judged_ground
from tunnelsite.plans.grading.pad_plane import PadCells, quick_plane
from tunnelsite.plans.limits import site_limits
from tunnelsite.plans.place import PlacedHouse
from tunnelsite.plans.site_limits import SiteLimits
from tunnelsite.scan.data_checks import unseen_ground
from tunnelsite.scan.doubts import SURFACE_LIKE
from tunnelsite.scan.localise import frame_grid, localised
from tunnelsite.scan.pitch_error import counted_error, stated_error
from tunnelsite.screening.option import (
    ANY_SIZE,
    GROUND_SETTINGS,
    is_size,
    placement_of,
    screened_house,
    settings_of,
)
from tunnelsite.settings.model import Settings, settings_from

SAME_CELL = 0.001  # of a cell: coordinates are kept to far less, so a larger shift is another grid
SAME_PLANE_M = 0.002


@dataclass(frozen=True)
class Candidate:
    """One placement on its frame: what every plan of earth and stakes starts from.

    Attributes:
        site, settings, frame: what was read. ground: float64 [rows, cols], heights [m] in the DEM's own datum.
        place: grid, centre cell, house and pad. parcel: the parcel that holds it, in the grid's along and across [m].
        placement: which one it is. notes: what was assumed, and what differs from its screening.
        screened: as a finished screening wrote it, or None.
    """

    site: Site
    settings: Settings
    frame: Frame
    ground: np.ndarray
    place: PlacedHouse
    parcel: shapely.Geometry
    placement: Placement
    notes: tuple[str, ...] = ()
    screened: ScreenedCandidate | None = None

    @property
    def rank(self) -> int | None:
        """Its rank, None for a place that no screening chose."""
        return self.placement.rank

    @property
    def title(self) -> str:
        """Which one, in words."""
        return self.placement.title

    @property
    def lon_deg(self) -> float:
        """Longitude of its centre (WGS 84)."""
        return self.placement.lon_deg

    @property
    def lat_deg(self) -> float:
        """Latitude of its centre (WGS 84)."""
        return self.placement.lat_deg

    @property
    def crs(self) -> pyproj.CRS:
        """The parcels' coordinate system, in which plans are written. Errors: InputRefused where they have none."""
        crs = self.site.parcels.crs
        if crs is None:
            raise InputRefused(f"{self.site.parcels.name} has no coordinate system", "parcels with one", "assign it")
        return crs

    @property
    def which(self) -> str:
        """Where it is from, in words."""
        return self.title if self.screened is None else f"candidate {self.rank} of {self.screened.file}"

    @property
    def origin(self) -> dict[str, Any]:
        """The same as settings of a run table."""
        if self.screened is not None:
            return {"sites": self.screened.file, "rank": self.rank}
        place = self.placement
        return {"lon": place.lon_deg, "lat": place.lat_deg, "bearing_deg": place.bearing_deg, "house": place.house.name}

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
        graded = EarthRule(max_slope=self.settings.pad_pitch, shrink=self.settings.shrink, topsoil_m=0.0)
        cells = PadCells.of(self.place, graded, self.judged)
        return quick_plane(self.place, graded, cells)


def kept_settings(screened: ScreenedCandidate, given: Mapping[str, Any]) -> tuple[dict[str, Any], list[str]]:
    """Settings for going on from a screening, and words where they differ from it.

    Arguments: screened; given, from the project file and the command line, which win.
    """
    base = settings_of(screened)
    own = {"house": base.pop("house"), **({"bearing": base.pop("bearing")} if "bearing" in base else {})}
    values = base | dict(given) | own
    unchanged = {name: value for name, value in values.items() if name not in GROUND_SETTINGS} | base
    now, before = settings_from(values), settings_from(unchanged)
    fields = {field.alias or name: name for name, field in Settings.model_fields.items()}
    notes = [
        f"{name.replace('_', ' ')} is {getattr(now, fields[name])} here, {getattr(before, fields[name])} in the screening"
        for name in GROUND_SETTINGS
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
    house = screened_house(screened, settings)
    placement = replace(placement_of(screened, rank), house=house).with_settings(values)
    found = standing(site, placement, [*notes, *other_inputs(screened, site)])
    found = replace(found, screened=screened)
    doubt = []
    if SURFACE_LIKE in str(screened.row.get("flags")):
        doubt = [f"{site.dem.name} looks like a surface model: {SURFACE_LIKE}"]
    return replace(found, notes=(*doubt, *found.notes, *_other_plane(found)))


def standing(site: Site, placement: Placement, notes: Sequence[str] = (), frame: Frame | None = None) -> Candidate:
    """A placement on a frame that has a cell centre in its middle; any place on the DEM will do.

    Arguments: site; placement, whose settings say what is graded and how; notes on it; frame of the site at hand, which is taken
    where the placement lies on its cells.
    Errors: InputRefused for a placement off the DEM and the parcels; UsageError for settings that cannot be.
    """
    refuse_other(site, "site", Site)
    refuse_other(placement, "place", Placement)
    house, said = placement.house, list(notes)
    size = [house.name] if is_size(house.name) else [ANY_SIZE]
    own = {"house": size, "kind": house.kind, "ridge": house.ridge_m, "bearing": placement.grid_bearing_deg}
    settings = settings_from(dict(placement.settings) | own)
    where = placement.lon_deg, placement.lat_deg
    shared = frame if frame is not None and frame.grid.bearing_deg == settings.bearing_deg else None
    grid, row, col, off = centred(_grid(site, settings) if shared is None else shared.grid, *where)
    if shared is not None and off > 0:
        grid, row, col, off = centred(_grid(site, settings), *where)
    if off > SAME_CELL * grid.cell_m and placement.rank is not None:
        said.append(
            f"the candidate's centre lies {off:.2f} m from a cell centre of these inputs: the grid was moved to it, and "
            "numbers differ a little from the screening"
        )
    if not (0 <= row < grid.rows and 0 <= col < grid.cols):
        raise InputRefused(
            f"{placement.title} at {where[0]:.6f}, {where[1]:.6f} lies off {site.dem.name} and its parcels",
            "a place on the DEM, within reach of the parcels",
            "correct the place, or name the files that were screened",
        )
    known = shared if shared is not None and shared.grid == grid else localised(site, grid)
    place = PlacedHouse(grid, row, col, house, Pad.around(house, settings.apron_m))
    parcel = _parcel(known, place, placement, said)
    ground = known.ground.astype(np.float64) + known.datum_m
    files = [f"{item.name}: {note}" for item in (site.dem, site.parcels) for note in item.notes]
    doubts = [*known.doubts, *_unseen(known, site.dem.name, house)]
    return Candidate(site, settings, known, ground, place, parcel, placement, (*doubts, *said, *files))


def _unseen(frame: Frame, dem_name: str, house: House) -> list[str]:
    """Words where the model's cells are too wide to plan on and the frame does not say so."""
    unseen = unseen_ground(frame, dem_name, [house])
    if not unseen or any(text.startswith(unseen) for text in frame.doubts):
        return []
    said = "heights, slopes, cut and fill of this plan, and their intervals, are of ground drawn between the cells"
    return [f"{unseen}: {said}. Level a grid on the pad before any of them is used"]


def _grid(site: Site, settings: Settings) -> Grid:
    return frame_grid(site, bearing_deg=settings.bearing_deg, cell_m=settings.cell_m, halo_m=settings.halo_m)


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


def _parcel(frame: Frame, place: PlacedHouse, placement: Placement, notes: list[str]) -> shapely.Geometry:
    centre = shapely.Point(place.centre)
    holding = [k for k, parcel in enumerate(frame.parcels) if shapely.covers(parcel, centre)]
    named = [k for k in holding if frame.parcel_names[k] == placement.parcel]
    if named or holding:
        return frame.parcels[(named or holding)[0]]
    which = (
        "these are not the parcels of the screening"
        if placement.rank is not None
        else "the owner of that land is not known"
    )
    holder = "the candidate" if placement.rank is not None else "the place"
    notes.append(f"no parcel of {frame.parcel_names} holds {holder}: {which}")
    return shapely.Polygon()


def _other_plane(found: Candidate) -> list[str]:
    """Words where the design plane found again is not the screening's."""
    if found.screened is None:
        return []
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
