"""`processes` and `run`: single geoprocessing tools."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from tunnelsite.core.errors import UsageError
from tunnelsite.hosts.progress import Progress


def list_processes(given: argparse.Namespace) -> int:
    """Print every process with its parameters, then every criterion, those of plug-ins included."""
    from tunnelsite import catalogue

    def report(text: str) -> None:
        print(text, file=sys.stderr)

    for process in catalogue.processes(report):
        description = process.description
        print(f"{process.id}: {description.text}")
        print(f"    makes {', '.join(f'{spec.id} [{spec.unit}]' for spec in description.makes)}")
        _print_parameters(description)
    print("\nCriteria, which a screening measures (weights, curves and limits stand in the project file):")
    for criterion in catalogue.criteria(report):
        description = criterion.description
        print(f"{criterion.id} [{description.unit}]: {description.text}")
        _print_parameters(description)
    return 0


def _print_parameters(description) -> None:
    for parameter in description.parameters:
        choices = f", one of {', '.join(parameter.choices)}" if parameter.choices else ""
        unit = f" [{parameter.unit}]" if parameter.unit else ""
        print(f"    {parameter.id} = {parameter.default}{unit}: {parameter.title}{choices}")
    print(f"    source: {description.source}")


def run_process(given: argparse.Namespace) -> int:
    """Run one process on a raster's own grid and write one of its layers."""
    from tunnelsite import catalogue
    from tunnelsite.io.cog import write_cog
    from tunnelsite.io.outputs import reserved_outputs
    from tunnelsite.io.rasters import raster_header, read_raster
    from tunnelsite.settings import crop_period

    process = catalogue.process(given.process)
    makes = {spec.id: spec for spec in process.description.makes}
    wanted = given.layer or next(iter(makes))
    if wanted not in makes:
        raise UsageError(f"{process.id} makes no layer {wanted!r}", ", ".join(makes), "choose one of these")
    asked = _pairs(given.set)
    process.description.checked(asked)  # what is wrong is said before the raster is read
    crop_period(given.crop_months)
    progress = Progress(quiet=given.quiet)
    with reserved_outputs({"OUT": Path(given.output)}, [given.input], overwrite=given.overwrite):
        header = raster_header(given.input, "input", crs=given.dem_crs)
        raster = read_raster(header, vertical_unit=given.elevation_unit, band=given.band)
        inputs = _inputs(process, raster, given.crop_months)
        known, unknown = _place_parameters(process, raster, asked)
        layers = process(inputs, known | asked, progress)
        spec = makes[wanted]
        layer = layers[wanted]
        words = {"unit": layer.unit, "title": spec.title}
        overviews = "nearest" if wanted == "aspect" else "average"  # the mean of 350 and 10 degrees is not south
        write_cog(given.output, layer.values, raster, overwrite=given.overwrite, overviews=overviews, **words)
    for note in raster.notes:
        progress.say(f"note: {raster.name}: {note}")
    for name, value in known.items():
        progress.say(f"note: {name} = {value:.6f}, from the coordinate system of {raster.name}")
    for text in unknown:
        progress.say(f"note: {text}")
    print(f"{layer.title} [{layer.unit}] written to {given.output}")
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


def _place_parameters(process, raster, asked: dict[str, str]) -> tuple[dict[str, float], list[str]]:
    """What the raster's coordinate system knows of the parameters that were not given, its middle and true north there; notes."""
    from tunnelsite.siteplan.bearings import convergence_deg

    wanted = {parameter.id for parameter in process.description.parameters} - asked.keys()
    wanted &= {"latitude_deg", "longitude_deg", "north_deg", "bearing_deg"}
    if not asked.get("when_utc") and "when_utc" in {parameter.id for parameter in process.description.parameters}:
        wanted -= {"latitude_deg", "longitude_deg"}
    if not wanted:
        return {}, []
    middle = _middle_lonlat(raster)
    if middle is None:
        return {}, [f"{raster.name} has no link to the earth: up is taken for true north"]
    found, notes = {"longitude_deg": middle[0], "latitude_deg": middle[1]}, []
    try:
        found["north_deg"] = convergence_deg(raster.crs, *middle)
        found["bearing_deg"] = 90.0 + found["north_deg"]
    except UsageError as problem:
        notes = [f"up is taken for true north: {problem.given}"]
    return {name: value for name, value in found.items() if name in wanted}, notes


def _middle_lonlat(raster) -> tuple[float, float] | None:
    """Longitude and latitude [deg] of the raster's middle on its own datum; None without a link to the earth."""
    from tunnelsite.core.grid import geographic_wkt, horizontal, transformer

    a, _, c, _, e, f = raster.affine
    crs = horizontal(raster.crs)
    if crs.geodetic_crs is None:
        return None
    change = transformer(crs.to_wkt(), geographic_wkt(crs.to_wkt()))
    lon, lat = change.transform(c + a * raster.cols / 2, f + e * raster.rows / 2)
    return float(lon), float(lat)


def _clear_sky_sun(raster, crop_months: str):
    """The sun of a part of the year over the middle of a raster, under a clear sky. Errors: UsageError without a place on earth."""
    from tunnelsite.light.irradiance import clear_sky_steps
    from tunnelsite.light.season import season_sun
    from tunnelsite.light.sun import Place
    from tunnelsite.settings import crop_period

    middle = _middle_lonlat(raster)
    if middle is None:
        raise UsageError(
            f"the coordinate system of {raster.name} has no link to the earth",
            "one with longitude and latitude behind it",
            "assign the right one with --dem-crs",
        )
    return season_sun(clear_sky_steps(Place(middle[1], middle[0], raster.datum_m)), crop_period(crop_months))


def _pairs(given: list[str]) -> dict[str, str]:
    found = {}
    for pair in given:
        name, equals, value = pair.partition("=")
        if not equals:
            raise UsageError(f"--set is {pair!r}", "NAME=VALUE", "write it as NAME=VALUE")
        found[name] = value
    return found
