"""`processes` and `run`: single geoprocessing tools."""

from __future__ import annotations

import argparse
import sys

from tunnelsite.core.errors import UsageError
from tunnelsite.hosts.progress import Progress


def list_processes(given: argparse.Namespace) -> int:
    """Print every process with its parameters."""
    from tunnelsite import catalogue

    for process in catalogue.processes(report=lambda text: print(text, file=sys.stderr)):
        description = process.description
        print(f"{process.id}: {description.text}")
        print(f"    makes {', '.join(f'{spec.id} [{spec.unit}]' for spec in description.makes)}")
        for parameter in description.parameters:
            choices = f", one of {', '.join(parameter.choices)}" if parameter.choices else ""
            unit = f" [{parameter.unit}]" if parameter.unit else ""
            print(f"    {parameter.id} = {parameter.default}{unit}: {parameter.title}{choices}")
        print(f"    source: {description.source}")
    return 0


def run_process(given: argparse.Namespace) -> int:
    """Run one process on a raster's own grid and write one of its layers."""
    from tunnelsite import catalogue
    from tunnelsite.io.cog import write_cog
    from tunnelsite.io.rasters import raster_header, read_raster
    from tunnelsite.io.staging import reserved

    process = catalogue.process(given.process)
    makes = {spec.id: spec for spec in process.description.makes}
    wanted = given.layer or next(iter(makes))
    if wanted not in makes:
        raise UsageError(f"{process.id} makes no layer {wanted!r}", ", ".join(makes), "choose one of these")
    parameters = process.description.checked(_pairs(given.set))
    progress = Progress(quiet=given.quiet)
    with reserved(given.output, overwrite=given.overwrite):
        header = raster_header(given.input, "input", crs=given.dem_crs)
        raster = read_raster(header, vertical_unit=given.elevation_unit, band=given.band)
        layers = process(_inputs(process, raster, given.crop_months), parameters, progress)
        spec = makes[wanted]
        layer = layers[wanted]
        write_cog(given.output, layer.values, raster, unit=layer.unit, title=spec.title, overwrite=given.overwrite)
    for note in raster.notes:
        progress.say(f"note: {raster.name}: {note}")
    print(f"{wanted} [{layer.unit}] written to {given.output}")
    return 0


def _inputs(process, raster, crop_months: str) -> dict:
    """The raster as the process's ground. Errors: UsageError for rasters in degrees or turned, and for other layers."""
    from tunnelsite.core.grid import horizontal
    from tunnelsite.core.layers import Layer
    from tunnelsite.scan.localise import utm_name

    known = ("ground", "surface", "sun")
    other = [spec.id for spec in process.description.reads if spec.id not in known and not spec.optional]
    if other:
        raise UsageError(
            f"{process.id} reads {', '.join(other)}", "a process on an elevation raster", "use it from Python"
        )
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
    layer = Layer(raster.values, "m", "ground", (abs(a) * unit, abs(e) * unit))
    inputs = {spec.id: layer for spec in process.description.reads if spec.id in known[:2]}
    if any(spec.id == "sun" for spec in process.description.reads):
        inputs["sun"] = Layer(_clear_sky_sun(raster, crop_months), "deg, deg, Wh/m2, 1", "sun under a clear sky")
    return inputs


def _clear_sky_sun(raster, crop_months: str):
    """The sun of a part of the year over the middle of a raster, under a clear sky."""
    from tunnelsite.core.grid import geographic_wkt, horizontal, transformer
    from tunnelsite.light.irradiance import clear_sky_steps
    from tunnelsite.light.season import season_sun
    from tunnelsite.light.sun import Place
    from tunnelsite.settings import crop_period

    a, _, c, _, e, f = raster.affine
    crs = horizontal(raster.crs).to_wkt()
    lon, lat = transformer(crs, geographic_wkt(crs)).transform(c + a * raster.cols / 2, f + e * raster.rows / 2)
    return season_sun(clear_sky_steps(Place(lat, lon, raster.datum_m)), crop_period(crop_months))


def _pairs(given: list[str]) -> dict[str, str]:
    found = {}
    for pair in given:
        name, equals, value = pair.partition("=")
        if not equals:
            raise UsageError(f"--set is {pair!r}", "NAME=VALUE", "write it as NAME=VALUE")
        found[name] = value
    return found
