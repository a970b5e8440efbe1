"""`processes` and `run`: single geoprocessing tools."""

from __future__ import annotations

import argparse
from dataclasses import dataclass
from pathlib import Path

from tunnelsite.core.describe import Description, LayerSpec
from tunnelsite.core.errors import UsageError
from tunnelsite.core.layers import Layer, SourceRaster
from tunnelsite.core.plan_kind import PlanKind
from tunnelsite.core.process import Process
from tunnelsite.core.sources import source_words
from tunnelsite.hosts.cli.progress import Progress
from tunnelsite.hosts.cli.streams import say, tell


def list_processes(given: argparse.Namespace) -> int:
    """Print every process with its parameters, then every plan and every criterion, those of plug-ins included."""
    from tunnelsite.core import catalogue

    def report(text: str) -> None:
        tell(text)

    for process in catalogue.processes(report):
        description = process.description
        say(f"{process.id}: {description.text}")
        say(f"    makes {', '.join(f'{spec.id} [{spec.unit}]' for spec in description.makes)}")
        _print_parameters(description)
    say("", "Plans of one house, each with its own command and function:")
    for kind in catalogue.plans(report):
        _print_plan(kind)
    say("", "Criteria, which a screening measures (weights, curves and limits are set in the project file):")
    for criterion in catalogue.criteria(report):
        description = criterion.description
        say(f"{criterion.id} [{description.unit}]: {description.text}")
        _print_parameters(description)
    return 0


def _print_plan(kind: PlanKind) -> None:
    from tunnelsite.settings.field import fields_of

    say(f"{kind.id}: {kind.text}")
    say(f"    gives {', '.join(f'{one.id} ({one.kind})' for one in kind.gives)}")
    for field in fields_of(kind.settings):
        unit, default = f" [{field.words.unit}]" if field.words.unit else "", field.default_words or "none"
        say(f"    {field.key} = {default}{unit}: {field.words.title}. {field.words.help}")
    say(f"    source: {source_words(kind.source)}")


def _print_parameters(description: Description) -> None:
    for parameter in description.parameters:
        choices = f", one of {', '.join(parameter.choices)}" if parameter.choices else ""
        unit = f" [{parameter.unit}]" if parameter.unit else ""
        say(f"    {parameter.id} = {parameter.default}{unit}: {parameter.title}{choices}")
    say(f"    source: {source_words(description.source)}")


def run_process(given: argparse.Namespace) -> int:
    """Run one process on a raster's own grid and write one of its layers."""
    from tunnelsite.core import catalogue
    from tunnelsite.io.write.outputs import reserved_outputs
    from tunnelsite.settings.model import crop_period

    process = catalogue.process(given.process)
    makes = {spec.id: spec for spec in process.description.makes}
    wanted = given.layer or next(iter(makes))
    if wanted not in makes:
        raise UsageError(f"{process.id} makes no layer {wanted!r}", ", ".join(makes), "choose one of these")
    asked = _pairs(given.set)
    process.description.checked(asked)  # wrong parameters are refused before the raster is read
    crop_period(given.crop_months)
    progress = Progress(quiet=given.quiet)
    with reserved_outputs({"OUT": Path(given.output)}, [given.input], overwrite=given.overwrite):
        done = _run_and_written(process, given, makes[wanted], asked, progress)
    for note in done.raster.notes:
        progress.say(f"note: {done.raster.name}: {note}")
    for name, value in done.known.items():
        progress.say(f"note: {name} = {value:.6f}, as {done.raster.name} tells")
    for text in done.notes:
        progress.say(f"note: {text}")
    say(f"{done.layer.title} [{done.layer.unit}] written to {given.output}")
    return 0


@dataclass(frozen=True)
class RunDone:
    """What a process made of a raster: layer written, raster read, what the raster told of the parameters, and notes."""

    layer: Layer
    raster: SourceRaster
    known: dict[str, float]
    notes: list[str]


def _run_and_written(
    process: Process, given: argparse.Namespace, spec: LayerSpec, asked: dict[str, str], progress: Progress
) -> RunDone:
    """At once, or part by part where the raster is large."""
    from tunnelsite.hosts.process_inputs import place_parameters, raster_inputs, write_layer
    from tunnelsite.hosts.process_tiles import LayerOutput, refuse_without_room, run_by_tiles, too_large, without_cells
    from tunnelsite.io.read.height_blocks import height_blocks
    from tunnelsite.io.read.mosaic import mosaic, read_mosaic
    from tunnelsite.io.read.rasters import raster_header, read_raster

    reading = {"vertical_unit": given.elevation_unit, "band": given.band}
    tiles = mosaic(given.input, "input", crs=given.dem_crs) if Path(given.input).is_dir() else None
    header = raster_header(given.input, "input", crs=given.dem_crs) if tiles is None else tiles.whole
    parts = process.by_tiles is not None and process.by_tiles.allows(process.description.checked(asked))
    if parts and too_large(header.shape):
        refuse_without_room(header, Path(given.output))
        blocks = height_blocks(tiles or mosaic(given.input, "input", crs=given.dem_crs), **reading)
        raster = without_cells(blocks)
        known, notes = place_parameters(process, raster, asked)
        wanted = LayerOutput(spec, Path(given.output), given.overwrite)
        return RunDone(run_by_tiles(process, blocks, known | asked, wanted, progress), raster, known, notes)
    progress("reading", 0.0)
    raster = read_raster(header, **reading) if tiles is None else read_mosaic(tiles, None, **reading)
    progress("reading", 1.0)
    inputs = raster_inputs(process, raster, given.crop_months)
    known, notes = place_parameters(process, raster, asked)
    layer = process(inputs, known | asked, progress)[spec.id]
    progress("writing", 0.0)
    write_layer(given.output, spec, layer, raster, overwrite=given.overwrite)
    progress("writing", 1.0)
    return RunDone(layer, raster, known, notes)


def _pairs(given: list[str]) -> dict[str, str]:
    found = {}
    for pair in given:
        name, equals, value = pair.partition("=")
        if not equals:
            raise UsageError(f"--set is {pair!r}", "NAME=VALUE", "write it as NAME=VALUE")
        found[name] = value
    return found
