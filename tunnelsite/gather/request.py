"""What `gather` is asked for, and the whole of it done: where, from which sources, into which folder."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from tunnelsite.core.errors import InputRefused, UsageError
from tunnelsite.core.layers import Features
from tunnelsite.gather.clouds import MADE, gather_clouds
from tunnelsite.gather.data_sources import LOCAL, DataSource
from tunnelsite.gather.elevation import PlannedFetch, gather_elevation, planned_elevation
from tunnelsite.gather.features import FeatureRequest, gather_features
from tunnelsite.gather.record import Entry, add_to_record, entry_of
from tunnelsite.gather.standing import standing_pieces, standing_text
from tunnelsite.io.fetch.door import Door
from tunnelsite.io.fetch.kept_parts import KeptParts
from tunnelsite.io.fetch.window import Area
from tunnelsite.io.formats.geojson import collection_text
from tunnelsite.io.read.rasters import raster_header, read_raster
from tunnelsite.io.read.vectors import read_features
from tunnelsite.io.write.outputs import make_folder
from tunnelsite.io.write.staging import OutputExists, write_whole
from tunnelsite.settings.circle import circle

Progress = Callable[[str, float], None]
EQUATOR_M, POLE_M = 111_320.0, 110_574.0  # of a degree of longitude at the equator, of latitude there (WGS 84)
PARTS = ".gather-parts"  # of the folder gathered into, until all is whole


@dataclass(frozen=True)
class GatherRequest:
    """What is to be brought.

    Attributes:
        area: with the halo in it. ground, surface: sources of elevation. points: (source, address or path) of clouds.
        features: what to fetch under which name. standing: whether outlines of trees and buildings are made from surface minus
        ground. cell_m, of rasters made from points. points_crs, where clouds state none. hosts: further hosts that may be
        asked. most_bytes: where fetching stops. overwrite.
    """

    area: Area
    ground: DataSource | None = None
    surface: DataSource | None = None
    points: tuple[tuple[DataSource, str], ...] = ()
    features: tuple[FeatureRequest, ...] = ()
    standing: bool = False
    cell_m: float = 1.0
    points_crs: str | None = None
    hosts: tuple[str, ...] = ()
    most_bytes: int = 1 << 30
    overwrite: bool = False

    @property
    def sources(self) -> list[DataSource]:
        """Every source that is asked over the network."""
        remote = [source for source, place in self.points if "://" in place]
        models = [source for source in (self.ground, self.surface) if source is not None]
        return [*models, *remote, *(wanted.source for wanted in self.features)]


@dataclass(frozen=True)
class Gathered:
    """What was brought: files by name; entries of the record; bytes that came over the network."""

    entries: tuple[Entry, ...]
    record: Path | None
    fetched_bytes: int
    told: tuple[str, ...] = ()


def area_around(text: str, halo_m: float) -> Area:
    """The area of `LAT,LON:RADIUS` with a halo round it. Errors: UsageError."""
    at = circle(text)
    reach_m = at.radius_m + halo_m
    east, north = reach_m / (EQUATOR_M * math.cos(math.radians(at.lat_deg))), reach_m / POLE_M
    return Area(at.lon_deg - east, at.lat_deg - north, at.lon_deg + east, at.lat_deg + north)


def area_of_parcels(path: str, halo_m: float) -> Area:
    """The area of all parcels of a file with a halo round it. Errors: as `read_features`."""
    return area_of_land(read_features(path, "parcels", kinds=("polygon",)), halo_m)


def area_of_land(land: Features, halo_m: float) -> Area:
    """The area of features with a halo round it."""
    from tunnelsite.core.grid import transformer

    if land.crs is None:
        raise InputRefused(f"{land.name} states no coordinate system", "parcels with one", "assign it in a GIS")
    bounds = [one.bounds for one in land.geometry]
    box = (min(b[0] for b in bounds), min(b[1] for b in bounds), max(b[2] for b in bounds), max(b[3] for b in bounds))
    west, south, east, north = transformer(land.crs.to_wkt(), "EPSG:4326").transform_bounds(*box, densify_pts=21)
    wide = halo_m / (EQUATOR_M * math.cos(math.radians((south + north) / 2)))
    return Area(west - wide, south - halo_m / POLE_M, east + wide, north + halo_m / POLE_M)


def door_for(request: GatherRequest) -> Door:
    """The door to the hosts of the request's sources and to those named besides."""
    hosts = [host for source in request.sources for host in source.hosts]
    return Door.to(
        [source.address for source in request.sources], hosts=[*hosts, *request.hosts], most_bytes=request.most_bytes
    )


def plans_for(request: GatherRequest, door: Door) -> dict[str, PlannedFetch]:
    """Which files would be fetched for each model, why and about how much; only headers are read.

    Errors: InputRefused, also beyond `most_bytes`.
    """
    asked = {"ground": request.ground, "surface": request.surface}
    found = {
        what: planned_elevation(door, source, request.area, surface=what == "surface")
        for what, source in asked.items()
        if source is not None
    }
    total = sum(one.size for one in found.values())
    if total > request.most_bytes:
        raise InputRefused(
            f"about {total / 1e6:.0f} MB would be fetched",
            f"at most {request.most_bytes / 1e6:.0f} MB",
            "raise --most, take a smaller circle, or name a coarser source",
        )
    return found


def plan_words(plans: dict[str, PlannedFetch]) -> list[str]:
    """The plans in words, one line each."""
    return [
        f"{what}: about {one.size / 1e6:.1f} MB from {one.source.name}: {one.reason}" for what, one in plans.items()
    ]


def check_targets(request: GatherRequest, folder: Path) -> None:
    """Before anything is fetched: no two sources make one file, and no file is there already.

    Errors: UsageError; OutputExists for what is there, unless it may be replaced.
    """
    models = [name for name in ("ground", "surface") if getattr(request, name) is not None]
    if request.points and models:
        raise UsageError(
            f"--points and --{models[0]} would both make {models[0]}.tif",
            "one of them for a folder",
            "gather into two folders, or leave one out",
        )
    names = [f"{name}.tif" for name in (MADE if request.points else models)]
    names += [f"{one.name}.geojson" for one in request.features if one.source.kind == "features"]
    names += ["standing.geojson"] if request.standing else []
    there = [name for name in names if (folder / name).exists()]
    if there and not request.overwrite:
        raise OutputExists(
            f"{' and '.join(there)} in {folder} exist already"
            if len(there) > 1
            else f"{there[0]} in {folder} exists already",
            "new files",
            "leave out what is there, or add --overwrite to replace it",
        )


def gather(request: GatherRequest, folder: Path, progress: Progress = lambda step, share: None) -> Gathered:
    """Bring everything that is asked for into a folder, one file after the other; what is whole stays if a later one fails.

    Parts of files that are fetched are kept in the folder until all is whole: the same request goes on from there after a failure.

    Errors: UsageError where nothing is asked; InputRefused, OutputFailed.
    """
    if not (request.ground or request.surface or request.points or request.features or request.standing):
        raise UsageError(
            "nothing is to be gathered", "a source for --ground, --surface, --points or --features", "name one"
        )
    check_targets(request, folder)
    make_folder(folder)
    door = door_for(request)
    door.kept = KeptParts(folder / PARTS)
    plans = plans_for(request, door)
    entries: list[Entry] = []
    record: Path | None = None

    def keep(found: list[Entry]) -> None:
        nonlocal record
        entries.extend(found)
        record = add_to_record(folder, found)

    for what, planned in plans.items():
        keep(gather_elevation(planned, request.area, folder, what=what, progress=progress, overwrite=request.overwrite))
    if request.points:
        points = list(request.points)
        keep(
            gather_clouds(
                points,
                door,
                request.area,
                folder,
                cell_m=request.cell_m,
                crs=request.points_crs,
                progress=progress,
                overwrite=request.overwrite,
            )
        )
    for wanted in request.features:
        keep([gather_features(door, wanted, request.area, folder, progress=progress, overwrite=request.overwrite)])
    if request.standing:
        keep([_standing(folder, overwrite=request.overwrite)])
    door.kept.clear()
    return Gathered(tuple(entries), record, door.fetched_bytes, tuple(plan_words(plans)))


def _standing(folder: Path, *, overwrite: bool) -> Entry:
    """`standing.geojson` from the folder's ground and surface."""
    both = [folder / "ground.tif", folder / "surface.tif"]
    for path in both:
        if not path.is_file():
            raise UsageError(
                f"{path.name} is not in {folder}", "ground.tif and surface.tif of the same cells", "gather both models"
            )
    ground, surface = (read_raster(raster_header(path, path.stem)) for path in both)
    if ground.shape != surface.shape or ground.affine != surface.affine:
        raise InputRefused(
            "ground.tif and surface.tif do not share their cells",
            "two models of one survey",
            "gather both from one source",
        )
    a, b, _, d, e, _ = ground.affine
    cell_m = math.sqrt(abs(a * e - b * d)) * ground.crs.axis_info[0].unit_conversion_factor
    pieces = standing_pieces(ground, surface.values + (surface.datum_m - ground.datum_m), cell_m)
    path = folder / "standing.geojson"
    write_whole(path, standing_text(pieces, ground.crs.to_wkt()), overwrite=overwrite)
    roofs = sum(piece.roof for piece in pieces)
    words = f"{roofs} taken for buildings, {len(pieces) - roofs} for trees: look at each"
    source = DataSource("surface minus ground", LOCAL, "", licence="as of the two models")
    return entry_of(
        path,
        "obstacles",
        source,
        [p.name for p in both],
        words,
        ("trees and roofs are separated by how smooth they are",),
    )


def waypoints(path: str, folder: Path, *, overwrite: bool) -> Path:
    """A list made by hand (CSV, GPX) as GeoJSON in the folder. Return: where. Errors: as `listed_features`."""
    from tunnelsite.io.read.lists import listed_features

    found = listed_features(path)
    target = folder / f"{Path(path).stem}.geojson"
    write_whole(target, collection_text(found.collection["features"]), overwrite=overwrite)
    return target
