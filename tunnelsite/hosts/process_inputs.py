"""What a process of the catalogue is given from a raster and its coordinate system, and what becomes of its layers."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from tunnelsite.core.describe import LayerSpec
from tunnelsite.core.errors import UsageError
from tunnelsite.core.grid import horizontal
from tunnelsite.core.layers import Layer, SourceRaster
from tunnelsite.core.process import Process


def raster_inputs(process: Process, raster: SourceRaster, crop_months: str) -> dict[str, Layer]:
    """The raster as the process's ground. Errors: UsageError for rasters in degrees or turned, and for other layers."""
    known = ("ground", "surface", "sun")
    other = [spec.id for spec in process.description.reads if spec.id not in known and not spec.optional]
    if other:
        raise UsageError(
            f"{process.id} reads {', '.join(other)}", "a process on an elevation raster", "use it from Python"
        )
    layer = Layer(raster.values, "m", "ground", cell_size_m(raster))
    inputs = {spec.id: layer for spec in process.description.reads if spec.id in known[:2]}
    if any(spec.id == "sun" for spec in process.description.reads):
        inputs["sun"] = Layer(clear_sky_sun(raster, crop_months), "deg, deg, Wh/m2, 1, 1", "sun under a clear sky")
    return inputs


def cell_size_m(raster: SourceRaster) -> tuple[float, float]:
    """(east-west, north-south) cell size [m] of a north-up raster. Errors: UsageError for rasters in degrees or turned."""
    from tunnelsite.scan.localise import utm_name

    crs = horizontal(raster.crs)
    if crs.is_geographic:
        raise UsageError(
            f"{raster.name} is in degrees ({crs.name})",
            "a projected raster, since slopes and areas need metres",
            f"warp it first, for instance to {utm_name(raster)}; `tunnelsite screen` does this by itself",
        )
    a, b, _, d, e, _ = raster.affine
    if b or d:
        raise UsageError(f"{raster.name} is turned against its coordinate system", "a north-up raster", "warp it first")
    unit = crs.axis_info[0].unit_conversion_factor
    return abs(a) * unit, abs(e) * unit


def write_layer(path: str | Path, spec: LayerSpec, layer: Layer, raster: SourceRaster, *, overwrite: bool) -> None:
    """Write what a process made of a raster, on its grid, as a COG. Errors: as `write_cog`."""
    from tunnelsite.io.formats.cog import write_cog
    from tunnelsite.io.formats.overviews import way_of

    words = {"unit": layer.unit, "title": spec.title}
    write_cog(
        path,
        spec.stored(layer.values, raster.datum_m),
        raster,
        overwrite=overwrite,
        overviews=way_of(spec.id),
        **words,
    )


def place_parameters(
    process: Process, raster: SourceRaster, asked: Mapping[str, Any]
) -> tuple[dict[str, float], list[str]]:
    """What the raster knows of the parameters that were not given: its middle, true north there, the step of its heights; notes."""
    from tunnelsite.plans.stakeout.bearings import convergence_deg

    wanted = {parameter.id for parameter in process.description.parameters} - asked.keys()
    if "height_step_m" in wanted:
        return _step_parameter(raster)
    wanted &= {"latitude_deg", "longitude_deg", "bearing_deg"}
    if not asked.get("when_utc") and "when_utc" in {parameter.id for parameter in process.description.parameters}:
        wanted -= {"latitude_deg", "longitude_deg"}
    if not wanted:
        return {}, []
    middle = _middle_lonlat(raster)
    if middle is None:
        return {}, [f"{raster.name} has no link to the earth: up is taken for true north"]
    found, notes = {"longitude_deg": middle[0], "latitude_deg": middle[1]}, []
    try:
        found["bearing_deg"] = 90.0 + convergence_deg(raster.crs, *middle)
    except UsageError as problem:
        notes = [f"up is taken for true north: {problem.given}"]
    return {name: value for name, value in found.items() if name in wanted}, notes


def _step_parameter(raster: SourceRaster) -> tuple[dict[str, float], list[str]]:
    from tunnelsite.core.height_step import height_step, step_notes

    step = height_step(raster.values, raster.datum_m)
    doubts, notes = step_notes(raster.name, step)
    return ({"height_step_m": step} if step else {}), [*doubts, *notes]


def _middle_lonlat(raster: SourceRaster) -> tuple[float, float] | None:
    """Longitude and latitude [deg] of the raster's middle on its own datum; None without a link to the earth."""
    from tunnelsite.core.grid import geographic_wkt, horizontal, transformer

    a, _, c, _, e, f = raster.affine
    crs = horizontal(raster.crs)
    if crs.geodetic_crs is None:
        return None
    change = transformer(crs.to_wkt(), geographic_wkt(crs.to_wkt()))
    lon, lat = change.transform(c + a * raster.cols / 2, f + e * raster.rows / 2)
    return float(lon), float(lat)


def clear_sky_sun(raster: SourceRaster, crop_months: str) -> np.ndarray:
    """The sun of a part of the year over the middle of a raster, under a clear sky. Errors: UsageError without a place on earth."""
    from tunnelsite.core.units import days_of
    from tunnelsite.settings.model import crop_period
    from tunnelsite.sun.irradiance import clear_sky_steps
    from tunnelsite.sun.position import Observer
    from tunnelsite.sun.season import season_sun

    middle = _middle_lonlat(raster)
    if middle is None:
        raise UsageError(
            f"the coordinate system of {raster.name} has no link to the earth",
            "one with longitude and latitude behind it",
            "assign the right one with --dem-crs",
        )
    period = crop_period(crop_months)
    place = Observer(middle[1], middle[0], raster.datum_m)
    return season_sun(clear_sky_steps(place, of_days=days_of(period)), period)
