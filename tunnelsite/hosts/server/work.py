"""The work of a job: one process or plan of the catalogue, or the screening; inputs from its folder, outputs into it."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from tunnelsite.core import catalogue
from tunnelsite.core.errors import ResourceShortage, UsageError
from tunnelsite.core.layers import Layer, SourceRaster
from tunnelsite.hosts.process_inputs import cell_size_m, clear_sky_sun, place_parameters, write_layer
from tunnelsite.hosts.server.offers import SCREENING
from tunnelsite.hosts.server.plan_offer import plan_asked, plan_named

if TYPE_CHECKING:
    from tunnelsite.core.describe import LayerSpec
    from tunnelsite.core.plan_kind import PlanKind
    from tunnelsite.core.process import Process
    from tunnelsite.core.site import Site
    from tunnelsite.io.read.raster_header import RasterHeader
    from tunnelsite.settings.model import Settings

Progress = Callable[[str, float], None]


def done(task: Mapping[str, Any], folder: Path, progress: Progress) -> None:
    """Do a task and write its outputs. Errors: TunnelsiteError."""
    outputs = folder / "outputs"
    if task["process"] == SCREENING:
        _screened(task, outputs, progress)
    elif (kind := plan_named(task["process"])) is not None:
        _planned(kind, task, outputs, progress)
    else:
        _processed(task, outputs, progress)


def _processed(task: Mapping[str, Any], outputs: Path, progress: Progress) -> None:
    process = catalogue.process(task["process"])
    values = dict(task["values"])
    period = values.pop("crop_months", "01-01:12-31")
    reading = {name: values.pop(name, None) for name in ("elevation_unit", "dem_crs", "band")}
    progress("reading", 0.0)
    headers = {name: _header(name, path, reading, task["limits"]) for name, path in task["files"].items()}
    if any(len(header.bands) > 1 for header in headers.values()):  # then it is of these, and the others have no choice
        bands = {name: reading["band"] if len(header.bands) > 1 else None for name, header in headers.items()}
    else:
        bands = dict.fromkeys(headers, reading["band"])
    rasters = {name: _raster(process, header, bands[name], reading) for name, header in headers.items()}
    first = next(iter(rasters.values()))
    inputs = {spec.id: _layer(spec, rasters, first) for spec in process.description.reads if spec.id in rasters}
    for spec in process.description.reads:
        if spec.is_table and spec.id in values:
            inputs[spec.id] = Layer(_table(spec.id, values.pop(spec.id)), spec.unit, spec.title)
        elif spec.id == "sun":
            inputs["sun"] = Layer(clear_sky_sun(first, period), spec.unit, spec.title)
    known, _ = place_parameters(process, first, values)
    layers = process(inputs, known | values, progress)
    progress("writing", 0.0)
    for spec in process.description.makes:
        if spec.id in layers and spec.id in task["outputs"]:
            write_layer(outputs / f"{spec.id}.tif", spec, layers[spec.id], first, overwrite=False)


def _header(name: str, path: str, reading: Mapping[str, Any], limits: Mapping[str, int]) -> RasterHeader:
    """What one raster input says of itself. Errors: ResourceShortage by it, before a cell is read."""
    from tunnelsite.io.read.rasters import raster_header

    header = raster_header(path, name, crs=reading["dem_crs"])
    cells = header.rows * header.cols * len(header.bands)
    if cells > limits["max_cells"]:
        raise ResourceShortage(
            f"input {name!r} has {cells:,} cells", f"at most {limits['max_cells']:,}", "cut it, or use larger cells"
        )
    return header


def _raster(process: Process, header: RasterHeader, band: int | None, reading: Mapping[str, Any]) -> SourceRaster:
    """One raster input. Errors: UsageError for a band that is not there."""
    from tunnelsite.io.read.rasters import read_raster, values_of

    spec = next(spec for spec in process.description.reads if spec.id == header.option)
    unit = reading["elevation_unit"]
    if spec.is_elevation:
        return read_raster(header, vertical_unit=unit, band=band)
    if spec.unit != "m":
        return values_of(header, band=band)
    return read_raster(header, vertical_unit=unit, band=band, zero_is_nodata=False)


def _layer(spec: LayerSpec, rasters: Mapping[str, SourceRaster], first: SourceRaster) -> Layer:
    """A raster as the process wants it. Errors: UsageError for another grid: nothing is resampled without being asked for."""
    raster = rasters[spec.id]
    cell_m = cell_size_m(raster)
    if spec.id != "far_ground" and (raster.shape, raster.affine, raster.crs) != (first.shape, first.affine, first.crs):
        raise UsageError(
            f"the rasters {first.name} and {raster.name} lie on different grids",
            "rasters of the same size, place and coordinate system",
            "warp one onto the other first",
        )
    shift = raster.datum_m - first.datum_m if spec.is_elevation else raster.datum_m
    values = raster.values if shift == 0 else raster.values + np.float32(shift)
    return Layer(values, spec.unit, spec.title, cell_m)


def _table(name: str, rows: list[list[float]]) -> np.ndarray:
    if len({len(row) for row in rows}) != 1:
        raise UsageError(f"the rows of {name} differ in length", "rows alike", "correct them")
    return np.asarray(rows, np.float64)


def _screened(task: Mapping[str, Any], outputs: Path, progress: Progress) -> None:
    from tunnelsite.hosts.cli.screening import summary_of
    from tunnelsite.hosts.server.screening_offer import screening_settings
    from tunnelsite.io.formats.geojson import geojson_text
    from tunnelsite.io.formats.world import world_layer
    from tunnelsite.io.read.site import inputs_unchanged, site_from
    from tunnelsite.io.read.stored import read_layers
    from tunnelsite.screening.run import screen

    settings = screening_settings(task)
    progress("reading", 0.0)
    site = site_from(settings)
    _refuse_large(site, settings, task["limits"])
    result = screen(site, settings=settings, progress=progress)
    inputs_unchanged(site)  # files of the operator may be replaced at any time
    progress("writing", 0.0)
    sites = (outputs if "sites" in task["outputs"] else outputs.parent) / "sites.gpkg"
    result.write(sites)
    if "candidates" in task["outputs"]:
        stored = read_layers(str(sites))  # as `tunnelsite export` would
        layer = world_layer("candidates", stored.tables["candidates"], result.crs)
        (outputs / "candidates.geojson").write_text(geojson_text(layer, stored.cautions), "ascii")
    if "summary" in task["outputs"]:
        told = summary_of(result, sites, 0.0)
        told = {name: value for name, value in told.items() if name not in ("out", "seconds")}
        (outputs / "summary.json").write_text(json.dumps(told, allow_nan=False), "utf-8")


def _refuse_large(site: Site, settings: Settings, limits: Mapping[str, int]) -> None:
    """Errors: ResourceShortage by the working grid, before it is made."""
    from tunnelsite.scan.localise import frame_grid

    for bearing in settings.bearings:
        grid = frame_grid(site, bearing_deg=bearing, cell_m=settings.cell_m, halo_m=settings.halo_m)
        if grid.rows * grid.cols > limits["max_cells"]:
            raise ResourceShortage(
                f"the working grid would have {grid.rows:,} x {grid.cols:,} cells",
                f"at most {limits['max_cells']:,} cells",
                "use a larger cell, a smaller halo or fewer parcels",
            )


def _planned(kind: PlanKind, task: Mapping[str, Any], outputs: Path, progress: Progress) -> None:
    """Make a plan and write what was asked for of it."""
    from tunnelsite.hosts.server.plan_files import write_outputs
    from tunnelsite.io.read.site import inputs_unchanged, site_from

    asked = plan_asked(kind, task)
    progress("reading", 0.0)
    site = site_from(asked.settings)
    _refuse_large(site, asked.settings, task["limits"])
    plan = kind(site, asked.place, asked.own, progress)
    inputs_unchanged(site)
    progress("writing", 0.0)
    write_outputs(kind, plan, outputs, task["outputs"])
