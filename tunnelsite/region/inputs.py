"""Reads a region: headers of rasters and all features once; the land of each task when it is that task's turn."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property, partial
from typing import NoReturn

import numpy as np
import pyproj
import shapely

from tunnelsite.core.errors import InputRefused
from tunnelsite.core.grid import horizontal, transformer
from tunnelsite.core.layers import Drained, Features, SourceRaster
from tunnelsite.core.reproject import lonlat_bounds
from tunnelsite.core.site import Site
from tunnelsite.core.weather import Weather
from tunnelsite.core.wind_rose import WindRose
from tunnelsite.io.read.cell_errors import cell_errors
from tunnelsite.io.read.files import file_name
from tunnelsite.io.read.land_window import reaches, window_bounds
from tunnelsite.io.read.mosaic import Mosaic, mosaic, mosaics, read_mosaic
from tunnelsite.io.read.own_layers import OwnLayers
from tunnelsite.io.read.rasters import covered, height_rules
from tunnelsite.io.read.site import read_inputs
from tunnelsite.io.write.drained_tiles import DrainedTiles
from tunnelsite.region.lands import LandTiles, land_numbers, lands_of
from tunnelsite.region.seams import with_neighbours
from tunnelsite.region.tasks import lonlat_boxes
from tunnelsite.scan.data_checks import check_columns
from tunnelsite.scan.localise import native_cell_m
from tunnelsite.scan.parcel_names import unique_names
from tunnelsite.settings.model import Settings

MARGIN_M = 50.0  # features are cut to boxes of straight sides, which bend between coordinate systems


@dataclass(frozen=True)
class Region:
    """A region as it was found: nothing of its rasters but the headers.

    Attributes: dem, surface, far_dem; dem_error, the errors of the DEM's cells, where those are known; others, the rasters of each
    further coordinate system among the tiles; parcels, all of them; names, one a parcel; features by what they are, cut to the
    task's surroundings (`obstacles`, `structures`, `soils`) or whole (`lamps`, services, whose nearest may lie anywhere).
    """

    dem: Mosaic
    parcels: Features
    names: list[str]
    surface: Mosaic | None = None
    far_dem: Mosaic | None = None
    features: Mapping[str, Features | None] = field(default_factory=dict)
    keep_outs: tuple[Features, ...] = ()
    services: Mapping[str, Features] = field(default_factory=dict)
    weather: Weather | None = None
    wind: WindRose | None = None
    named: tuple[Features, ...] = ()
    own: OwnLayers | None = None
    dem_error: Mosaic | None = None
    others: tuple[LandTiles, ...] = ()

    @property
    def lands(self) -> list[Region]:
        """The region once for each coordinate system of its tiles, with that one first."""
        every = [LandTiles(self.dem, self.surface, self.dem_error), *self.others]
        return [replace(self, **vars(one), others=tuple(x for x in every if x is not one)) for one in every]

    @cached_property
    def land_of(self) -> np.ndarray:
        """Which of `lands` knows each parcel best: int64 [parcels]."""
        return land_numbers([LandTiles(self.dem), *self.others], self.parcels)

    @property
    def digests(self) -> list[tuple[str, str]]:
        """(name, SHA-256) of every input."""
        return [(self.parcels.name, self.parcels.sha256), *((name, digest) for _, name, digest in self.by_role)]

    @property
    def rasters(self) -> list[Mosaic]:
        """The DEM, and the surface and the far DEM where they are given; then those in other coordinate systems."""
        more = [item for land in self.others for item in (land.dem, land.surface)]
        return [item for item in (self.dem, self.surface, self.far_dem, *more) if item is not None]

    @property
    def by_role(self) -> list[tuple[str, str, str]]:
        """(what it is used as, name, SHA-256) of every input but the parcels: the same file is another input in another role."""
        rasters = {"dem": self.dem, "dem_error": self.dem_error, "surface": self.surface, "far_dem": self.far_dem}
        found = [(role, file_name(item.whole.path), item.sha256) for role, item in rasters.items() if item is not None]
        found += [row for land in self.others for row in land.by_role]
        vectors = [*self.features.items(), *(("keep_out", item) for item in self.keep_outs)]
        vectors += [(f"service:{name}", item) for name, item in self.services.items()]
        vectors += [(item.notes[0], item) for item in self.named]
        found += [(role, item.name, item.sha256) for role, item in vectors if item is not None]
        found += [] if self.own is None else self.own.by_role
        tables = {"weather": self.weather, "wind": self.wind}
        return found + [(role, x.name, x.sha256) for role, x in tables.items() if x is not None and x.sha256]

    def __reduce__(self) -> NoReturn:
        raise TypeError("a region is not sent to workers; its tasks are")


def own_cell_m(region: Region) -> float:
    """Side of the cells of the DEM [m] where the parcels lie."""
    header, boxes = region.dem.whole, lonlat_boxes(region.parcels)
    return native_cell_m(header, boxes[0, 0], boxes[:, [1, 3]].mean())


@dataclass(frozen=True)
class TaskInputs:
    """What a worker needs for one task: small enough to be sent. neighbours: tiles in other coordinate systems that reach its land."""

    dem: Mosaic
    parcels: Features
    surface: Mosaic | None
    far_dem: Mosaic | None
    features: dict[str, Features | None]
    keep_outs: tuple[Features, ...]
    services: dict[str, Features]
    weather: Weather | None
    wind: WindRose | None
    named: tuple[Features, ...] = ()
    drained: DrainedTiles | None = None
    own: OwnLayers | None = None
    dem_error: Mosaic | None = None
    neighbours: tuple[LandTiles, ...] = ()


def read_region(settings: Settings) -> Region:
    """Read what the settings name. Errors: as `read_site`; UsageError without DEM or parcels."""
    read = read_inputs(settings)
    asked = (
        ("dem", settings.dem, "DEM", settings.dem_crs),
        ("surface", settings.surface, "--surface", settings.dem_crs),
        ("far_dem", settings.far_dem, "--far-dem", None),
    )
    found: dict[str, list[Mosaic]] = {
        name: [] if path is None else [*map(_anywhere, mosaics(path, option, crs))] for name, path, option, crs in asked
    }
    if len(found["far_dem"]) > 1:
        mosaic(str(settings.far_dem), "--far-dem")  # says which tiles differ
    first, *others = lands_of(found["dem"], found["surface"])
    far_dem = next(iter(found["far_dem"]), None)
    rasters: dict[str, Mosaic | None] = {"dem": first.dem, "surface": first.surface, "far_dem": far_dem}
    check_columns(read.features)
    for name, tiles in rasters.items():  # what a task would refuse is refused before the first one starts
        if tiles is not None:
            far = name == "far_dem"
            unit = settings.far_elevation_unit if far else settings.elevation_unit
            if name != "dem":  # of the DEM's ground each parcel has its own word
                window_bounds(tiles.whole, read.parcels, settings.halo_m)
            height_rules(tiles.whole, unit, None if far else band_of(tiles, settings), None)
    for land in others:
        height_rules(land.dem.whole, settings.elevation_unit, band_of(land.dem, settings), None)
    return Region(
        dem=first.dem,
        names=unique_names(read.parcels),
        surface=first.surface,
        far_dem=far_dem,
        dem_error=first.dem_error,
        others=tuple(others),
        **vars(read),
    )


def _anywhere(tiles: Mosaic) -> Mosaic:
    """The same with absolute paths: a worker of another scheduler was started in another folder."""
    whole, *each = (replace(header, path=header.path.absolute()) for header in (tiles.whole, *tiles.tiles))
    return replace(tiles, whole=whole, tiles=tuple(each))


def task_inputs(
    region: Region, members: np.ndarray, settings: Settings, drained: DrainedTiles | None = None
) -> TaskInputs:
    """The inputs of the parcels at these positions, features cut to their surroundings."""
    parcels = part_of(region.parcels, members)
    parcels = replace(parcels, columns={"parcel": np.array([region.names[k] for k in members], object)})
    reach = {"obstacles": settings.halo_m, "structures": settings.clearance_m, "soils": 0.0, "lamps": np.inf}
    return TaskInputs(
        region.dem,
        parcels,
        region.surface,
        region.far_dem,
        {name: None if item is None else _beside(item, parcels, reach[name]) for name, item in region.features.items()},
        tuple(_beside(item, parcels, item.distance_m) for item in region.keep_outs),
        dict(region.services),
        region.weather,
        region.wind,
        region.named,
        drained,
        region.own,
        region.dem_error,
        tuple(land for land in region.others if reaches(land.dem.whole, parcels, settings.halo_m)),
    )


def task_site(inputs: TaskInputs, settings: Settings) -> Site:
    """Read the land of one task. Errors: InputRefused where the DEM does not reach it, or has changed."""

    def heights(tiles: Mosaic, reach_m: float) -> SourceRaster:
        bounds = window_bounds(tiles.whole, inputs.parcels, reach_m)
        far = tiles is inputs.far_dem
        return read_mosaic(
            tiles, bounds, vertical_unit=settings.far_elevation_unit if far else settings.elevation_unit,
            band=None if far else band_of(tiles, settings),
            zero_is_nodata=settings.zero_is_nodata or None,
        )  # fmt: skip

    def land(tiles: Mosaic, beside: Sequence[Mosaic | None]) -> SourceRaster:
        found = heights(tiles, settings.halo_m)
        if not beside:
            return found
        others = (heights(one, settings.halo_m) for one in beside if one is not None)
        return with_neighbours(found, others, window_bounds(tiles.whole, inputs.parcels, settings.halo_m))

    own = inputs.own or OwnLayers({}, {}, {})
    return Site(
        dem=land(inputs.dem, [one.dem for one in inputs.neighbours]),
        dem_error=cell_errors(inputs.dem_error, inputs.parcels, settings.halo_m),
        parcels=inputs.parcels,
        surface=None if inputs.surface is None else land(inputs.surface, [one.surface for one in inputs.neighbours]),
        far_dem=None if inputs.far_dem is None else heights(inputs.far_dem, settings.halo_m + settings.far_reach_m),
        keep_outs=inputs.keep_outs,
        services=inputs.services,
        own_rasters={name: one.read(inputs.parcels, settings.halo_m) for name, one in own.rasters.items()},
        own_features=own.features,
        weather=inputs.weather,
        wind=inputs.wind,
        named=inputs.named,
        drained=_drained(inputs, settings),
        parcels_alone=True,
        obstacles=inputs.features.get("obstacles"),
        structures=inputs.features.get("structures"),
        lamps=inputs.features.get("lamps"),
        soils=inputs.features.get("soils"),
    )


def _drained(inputs: TaskInputs, settings: Settings) -> Callable[[], Drained] | None:
    """The task's land as it drains with all the land round it; read anew for every frame, so that it is not kept."""
    if inputs.drained is None:
        return None
    whole = inputs.dem.whole
    window = covered(whole, window_bounds(whole, inputs.parcels, settings.halo_m))
    return partial(inputs.drained.read, *inputs.drained.grown(*window))


def band_of(tiles: Mosaic, settings: Settings) -> int | None:
    """The band that was asked for."""
    return settings.band if len(tiles.whole.bands) > 1 or settings.band else None


def part_of(features: Features, members: np.ndarray) -> Features:
    """The features at these positions."""
    columns = {name: np.asarray(values)[members] for name, values in features.columns.items()}
    return replace(features, geometry=features.geometry[members], columns=columns)


def _beside(features: Features, parcels: Features, reach_m: float) -> Features:
    """The features that can lie within `reach_m` of the parcels; the first of all where none does, so that a task is judged by
    the same criteria as every other."""
    if not len(features) or not np.isfinite(reach_m):
        return features
    west, south, east, north = _box(parcels, horizontal(features.crs), reach_m + MARGIN_M)
    bounds = shapely.bounds(features.geometry)
    near = (bounds[:, 2] >= west) & (bounds[:, 0] <= east) & (bounds[:, 3] >= south) & (bounds[:, 1] <= north)
    return part_of(features, np.flatnonzero(near) if near.any() else np.array([0]))


def _box(parcels: Features, crs: pyproj.CRS, reach_m: float) -> tuple[float, float, float, float]:
    """Bounds in `crs` of the parcels and `reach_m` round them; by longitude and latitude, a little too large."""
    west, south, east, north = lonlat_bounds(parcels)
    up = 1.01 * reach_m / 110_500.0
    across = up / max(np.cos(np.radians(min(89.0, max(abs(south), abs(north)) + up))), 0.01)
    box = shapely.segmentize(
        shapely.box(west - across, south - up, east + across, north + up), max(east - west, up) / 8
    )
    source = horizontal(parcels.crs)
    if not source.is_geographic and source.geodetic_crs is not None:
        source = source.geodetic_crs
    points = shapely.get_coordinates(box)
    x, y = transformer(source.to_wkt(), crs.to_wkt()).transform(points[:, 0], points[:, 1])
    known = np.isfinite(x) & np.isfinite(y)
    if not known.any():
        raise InputRefused(
            f"{parcels.name} cannot be carried to {crs.name}",
            "features near the parcels",
            "check that each file carries the right coordinate system",
        )
    return float(x[known].min()), float(y[known].min()), float(x[known].max()), float(y[known].max())
