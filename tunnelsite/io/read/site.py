"""Reads everything one screening needs: the DEM round the parcels, the surface and the features."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING

from tunnelsite.core.errors import InputRefused, UsageError
from tunnelsite.core.grid import horizontal
from tunnelsite.core.layers import Features, SourceRaster
from tunnelsite.core.site import Site
from tunnelsite.core.weather import Weather
from tunnelsite.core.wind_rose import WindRose
from tunnelsite.io.read.cell_errors import cell_errors, error_files, hashed_files
from tunnelsite.io.read.drawn import DrawnOnMap, joined, read_drawn, with_fields, with_more
from tunnelsite.io.read.files import FileStamp, file_stamp, layer_of, same_file
from tunnelsite.io.read.given import features_of, from_file_or_memory, heights_given, is_path
from tunnelsite.io.read.land_instead import land_instead
from tunnelsite.io.read.land_window import window_bounds
from tunnelsite.io.read.mosaic import has_tiles, mosaic, read_mosaic
from tunnelsite.io.read.named_files import named_files, with_named_files
from tunnelsite.io.read.own_layers import OwnLayers, own_layers
from tunnelsite.io.read.raster_header import RasterHeader, raster_header
from tunnelsite.io.read.raster_reading import RasterReading
from tunnelsite.io.read.rasters import read_raster
from tunnelsite.io.read.site_features import OPTIONAL, keep_out_of, optional_features, service_features, wind_of
from tunnelsite.io.read.vectors import read_features
from tunnelsite.io.read.weather import read_weather
from tunnelsite.io.write.scratch import Scratch
from tunnelsite.scan.parcel_names import with_names_noted
from tunnelsite.settings.model import Settings, keep_out_parts, own_layer_parts

if TYPE_CHECKING:
    from tunnelsite.io.read.given import Raster, Vector


def read_site(
    dem: Raster,
    parcels: Vector | Features | None,
    *,
    drawn: str | None = None,
    far_dem: Raster | None = None,
    surface: Raster | None = None,
    obstacles: Vector | None = None,
    structures: Vector | None = None,
    keep_out: Vector | Sequence[Vector] = (),
    services: Mapping[str, Vector] | None = None,
    layers: Mapping[str, Raster | Vector] | None = None,
    lamps: Vector | None = None,
    soils: Vector | None = None,
    weather: str | None = None,
    wind: str | None = None,
    wind_from_deg: float | None = None,
    reading: RasterReading | None = None,
) -> Site:
    """Read a DEM (only round the parcels), parcels and optional layers into a `Site`.

    Rasters may be paths (a GeoTIFF, an Esri ASCII grid, a .bil or .sdat with its header, a folder of tiles, a VRT that lists local
    tiles), open rasterio datasets or an xarray.DataArray with a CRS; features may be paths (`FILE#LAYER` names a layer), a GeoDataFrame
    or a GeoSeries. Nothing is written.

    Args:
        dem: bare ground.
        parcels: polygons where a house may stand; None where fields were drawn.
        drawn: what was drawn on the map, added to each of the others.
        far_dem: land beyond the DEM, for the far horizon.
        surface: ground plus what stands on it.
        obstacles: points, lines or polygons with `height_m`.
        structures: polygons to stay clear of.
        keep_out: one or several, each `FILE` or `FILE@DISTANCE` or a GeoDataFrame.
        services: water, power, road ... by name.
        layers: own layers by name: `FILE`, `FILE@UNIT` or `FILE@classes`, or a raster or features in memory.
        lamps: points with `lumens`.
        soils: polygons with a drainage class.
        weather: a year of solar radiation (EPW, TMY3).
        wind: a weather file with the wind of a year.
        wind_from_deg: prevailing direction, clockwise from true north; it rules where both are given.
        reading: units and systems where the files do not say, and how much land round the parcels.

    Returns:
        Site.

    Raises:
        InputRefused: for a file or object that cannot be used as it is.
        UsageError: for settings that cannot be.
        ResourceShortage: before any cell is read, where the data would not fit in memory.
    """
    reading = reading or RasterReading()
    store = Scratch(reading.scratch_from_bytes)
    dem = from_file_or_memory(dem)
    surface, far_dem = (None if one is None else from_file_or_memory(one) for one in (surface, far_dem))
    keep_out = list(keep_out) if isinstance(keep_out, list | tuple) else [keep_out]
    named = [dem, parcels, drawn, far_dem, surface, obstacles, structures, lamps, soils, weather, wind]
    named += (services or {}).values()
    named += [keep_out_parts(str(one))[0] for one in keep_out if is_path(one)]
    own_given = {name: from_file_or_memory(one) for name, one in (layers or {}).items()}
    named += [own_layer_parts(str(one))[0] for one in own_given.values() if is_path(one)]
    files = tuple(_watched(str(text)) for text in named if is_path(text))
    sketch = None if drawn is None else read_drawn(drawn)
    # what is wrong with the DEM comes first: it may be the parcels
    one_file = is_path(dem) and not has_tiles(str(dem))
    header = raster_header(str(dem), "DEM", crs=reading.dem_crs) if one_file else None
    land = _land(parcels, sketch, header)
    given = optional_features({"obstacles": obstacles, "structures": structures, "lamps": lamps, "soils": soils})
    ground = _stored(store, _read_heights(dem, "DEM", land, reading, header))
    model = None if surface is None else _stored(store, _read_heights(surface, "--surface", land, reading))
    own = own_layers(own_given)
    errors = error_files(hashed_files(dem, ground.sha256), ground.crs)
    site = Site(
        dem=replace(ground, notes=(*ground.notes, *errors.notes)),
        dem_error=cell_errors(errors.tiles, land, reading.halo_m),
        parcels=land,
        surface=model,
        far_dem=None if far_dem is None else _read_far(far_dem, land, reading),
        obstacles=given["obstacles"],
        structures=given["structures"],
        lamps=given["lamps"],
        soils=given["soils"],
        keep_outs=tuple(keep_out_of(text) for text in keep_out),
        services=service_features(services or {}),
        own_rasters={name: _stored(store, one) for name, one in own.read(land, reading.halo_m).items()},
        own_features=own.features,
        weather=None if weather is None else read_weather(weather),
        wind=wind_of(wind, wind_from_deg),
        files=files,
        store=store,
    )
    return site if sketch is None else _with_drawn(site, sketch)


def _land(parcels: Vector | Features | None, sketch: DrawnOnMap | None, header: RasterHeader | None) -> Features:
    """The parcels of a file and the fields that were drawn. Errors: UsageError where there are none at all.

    Arguments: header of the DEM, where it is one file.
    """
    land: Features | None = None
    if parcels is not None:
        land = parcels if isinstance(parcels, Features) else features_of(parcels, "parcels", kinds=("polygon",))
    if sketch is not None and sketch.fields is not None:
        # of fields that were drawn alone the answer is in the ground's own system
        crs = sketch.fields.crs if land is not None or header is None else horizontal(header.crs)
        land = with_fields(land, sketch.fields, crs)
    if land is None:
        raise _not_named("parcels", "no parcels were given, and no field was drawn")
    return with_names_noted(land)


def _with_drawn(site: Site, sketch: DrawnOnMap) -> Site:
    services = {name: with_more(site.services.get(name), item) for name, item in sketch.services.items()}
    return replace(
        site,
        obstacles=joined(site.obstacles, sketch.obstacles),
        structures=joined(site.structures, sketch.structures),
        lamps=joined(site.lamps, sketch.lamps),
        keep_outs=(*site.keep_outs, *sketch.keep_outs),
        services=site.services | services,
        named=(*site.named, sketch.source),
    )


def _stored(store: Scratch, raster: SourceRaster) -> SourceRaster:
    return replace(raster, values=store.kept(raster.values))


def _watched(text: str) -> tuple[str, FileStamp | None]:
    path = layer_of(text)[0]
    try:
        return path, file_stamp(path)
    except (OSError, ValueError):
        return path, None  # its reader reports what is wrong with it


def inputs_unchanged(site: Site) -> None:
    """Errors: InputRefused if a file is no longer what it was when it was read: the run would mix two states."""
    for path, stamp in site.files:
        if stamp is not None and not same_file(path, stamp):
            raise InputRefused(
                f"{path} has changed while the run went on",
                "files at rest",
                "run again once it is written; nothing was written",
            )


def _checked_dem(settings: Settings) -> str:
    """The DEM that is named. Errors: UsageError where it or the land is not named, or the land twice."""
    if settings.dem is None:
        raise _not_named("dem", "no DEM was given")
    instead = [name for name in ("parcels", "around", "whole") if getattr(settings, name)]
    if len(instead) > 1:
        raise UsageError(f"{' and '.join(instead)} are both given", "one of parcels, around and whole", "leave one out")
    if not instead and settings.drawn is None:
        raise _not_named("parcels", "no parcels were given")
    return settings.dem


def _not_named(name: str, given: str) -> UsageError:
    return UsageError(given, "a DEM and parcels", f"name the {name} file on the command line or in the project file")


def site_from(settings: Settings) -> Site:
    """The site that settings name. Errors: UsageError where the DEM or the parcels are missing, else as `read_site`."""
    dem = _checked_dem(settings)
    settings.prices.check_services(settings.service)
    site = read_site(
        dem,
        land_instead(settings) or settings.parcels,
        drawn=settings.drawn,
        far_dem=settings.far_dem,
        surface=settings.surface,
        obstacles=settings.obstacles,
        structures=settings.structures,
        keep_out=settings.keep_out,
        services=settings.service,
        layers=settings.layer,
        lamps=settings.lamps,
        soils=settings.soils,
        weather=settings.weather,
        wind=settings.wind,
        wind_from_deg=settings.wind_from_deg,
        reading=RasterReading(
            settings.elevation_unit,
            settings.dem_crs,
            settings.band,
            settings.zero_is_nodata or None,
            settings.halo_m,
            settings.far_reach_m,
            far_elevation_unit=settings.far_elevation_unit,
        ),
    )
    return with_named_files(site, settings.parameter)


@dataclass(frozen=True)
class RegionInputs:
    """Everything that settings name but the rasters."""

    parcels: Features
    features: dict[str, Features | None]
    keep_outs: tuple[Features, ...]
    services: dict[str, Features]
    weather: Weather | None
    wind: WindRose | None
    named: tuple[Features, ...] = ()
    own: OwnLayers | None = None


def read_inputs(settings: Settings) -> RegionInputs:
    """Parcels, features, weather and wind of a region. Errors: UsageError without DEM or parcels; as `read_site`."""
    _checked_dem(settings)
    if settings.parcels is None:
        raise _not_named("parcels", "no parcels were given: a region has no circle and no whole")
    if settings.drawn is not None:
        raise UsageError("drawn is given to a region", "files alone", "export what was drawn, or screen the farm")
    return RegionInputs(
        with_names_noted(read_features(settings.parcels, "parcels", kinds=("polygon",))),
        optional_features({name: getattr(settings, name) for name in OPTIONAL}),
        tuple(keep_out_of(text) for text in settings.keep_out),
        service_features(settings.service),
        None if settings.weather is None else read_weather(settings.weather),
        wind_of(settings.wind, settings.wind_from_deg),
        named_files(settings.parameter),
        own_layers(settings.layer),
    )


def _read_heights(
    given: Raster, option: str, land: Features, reading: RasterReading, header: RasterHeader | None = None
) -> SourceRaster:
    """The heights round the land: of one file, a folder of tiles, the tiles that a VRT names, or an array as it is.

    Arguments: header of the file, where it is known already.
    """
    if not isinstance(given, str | os.PathLike):
        return heights_given(given, option, reading.elevation_unit, reading.zero_is_nodata)
    path = os.fspath(given)
    tiles = mosaic(path, option, crs=reading.dem_crs) if header is None and has_tiles(path) else None
    header = tiles.whole if tiles else header or raster_header(path, option, crs=reading.dem_crs)
    bounds = window_bounds(header, land, reading.halo_m)
    several = len(header.bands) > 1
    read = partial(read_mosaic, tiles, bounds) if tiles else partial(read_raster, header, bounds=bounds)
    return read(
        vertical_unit=reading.elevation_unit,
        band=reading.band if several or reading.band else None,
        zero_is_nodata=reading.zero_is_nodata,
    )


def _read_far(given: Raster, land: Features, reading: RasterReading) -> SourceRaster:
    """The far DEM, by what it says itself: it is another product than the DEM, in another system and perhaps unit."""
    unit = reading.far_elevation_unit
    if not isinstance(given, str | os.PathLike):
        return heights_given(given, "--far-dem", unit, reading.zero_is_nodata)
    header = raster_header(os.fspath(given), "--far-dem")
    bounds = window_bounds(header, land, reading.halo_m + reading.far_reach_m)
    return read_raster(header, bounds=bounds, vertical_unit=unit, zero_is_nodata=reading.zero_is_nodata)
