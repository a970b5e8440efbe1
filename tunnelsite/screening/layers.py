"""The layers of a run on one ridge bearing: those of the inputs, and those that processes make of them for the criteria."""

from __future__ import annotations

from collections.abc import Collection, Mapping

import numpy as np

from tunnelsite.core import catalogue
from tunnelsite.core.criterion import Criterion
from tunnelsite.core.describe import LayerSpec
from tunnelsite.core.elevation_error import CELL_ERROR
from tunnelsite.core.errors import TunnelsiteError
from tunnelsite.core.layers import Layer
from tunnelsite.core.process import Process, Progress, silent
from tunnelsite.core.site import Frame, Site
from tunnelsite.scan.data_checks import check_data
from tunnelsite.scan.doubts import doubt_surface
from tunnelsite.scan.engine import Judge
from tunnelsite.scan.frame_facts import facts_of
from tunnelsite.scan.lamps import add_night_light
from tunnelsite.scan.localise import frame_grid, localised
from tunnelsite.scan.pitch_error import stated_error
from tunnelsite.scan.soils import add_soils
from tunnelsite.scan.surface import add_surface
from tunnelsite.screening.own_layers import add_cell_errors, add_own_rasters
from tunnelsite.screening.providers import given_layers, setting_facts, unknown_facts
from tunnelsite.settings.model import Settings

# Layers that a frame may have before any process is run.
INPUT_LAYERS = (
    "ground", CELL_ERROR, "surface", "surface_leafless", "surface_leafless_2", "surface_leafless_3", "standing_m",
    "drainage_class", "drainage_least", "hydrologic_group", "hydrologic_least", "night_lux",
)  # fmt: skip


def layer_specs() -> dict[str, LayerSpec]:
    """The description of each layer: that of its process, or else of the criterion that reads it."""
    tools: list[Criterion | Process] = [*catalogue.criteria(), *catalogue.processes()]
    read = {spec.id: spec for item in tools for spec in item.description.reads}
    return read | {spec.id: spec for item in tools for spec in item.description.makes}


def layers_made() -> list[str]:
    """The layers that processes may make for the criteria, in the order in which they are made."""
    processes = catalogue.processes()
    wanted = {spec.id for criterion in catalogue.criteria() for spec in criterion.description.reads}
    wanted = _with_their_sources(wanted, processes, ())
    made = [one for one in processes if {spec.id for spec in one.description.makes} & wanted]
    return list(dict.fromkeys(spec.id for process in made for spec in process.description.makes))


def framed(site: Site, settings: Settings, bearing_deg: float) -> Frame:
    """The frame of one ridge bearing with the layers that need no process. Errors: InputRefused."""
    grid = frame_grid(site, bearing_deg=bearing_deg, cell_m=settings.cell_m, halo_m=settings.halo_m)
    frame = localised(site, grid)
    add_cell_errors(frame, site)
    frame.error = stated_error(frame, *settings.error)
    check_data(site, frame, settings.halo_m)
    add_surface(frame, settings.bare_transmission)
    add_soils(frame)
    add_night_light(frame)
    add_own_rasters(frame, site)
    return frame


def prepared(site: Site, settings: Settings, bearing_deg: float, judges: list[Judge], progress: Progress) -> Frame:
    """The frame of one ridge bearing with every layer that the criteria read. Errors: InputRefused."""
    progress("local grid", 0.0)
    frame = framed(site, settings, bearing_deg)
    progress("local grid", 1.0)

    def resting(what: str, share: float) -> None:
        frame.store.rest()
        progress(what, share)

    processes = catalogue.processes(frame.notes.append)
    reads = {spec.id for judge in judges for spec in judge.criterion.description.reads}
    wanted = _with_their_sources(reads, processes, frame.layers)
    for process in processes:
        if {spec.id for spec in process.description.makes} & wanted - frame.layers.keys():
            add_made(process, site, frame, settings, resting)
    doubt_surface(frame, site.dem.name)
    return frame


def _with_their_sources(wanted: set[str], processes: list[Process], there: Collection[str]) -> set[str]:
    """Layers, and those that the processes read in turn that make them. Arguments: there, layers that need not be made."""
    for process in reversed(processes):  # what makes a wanted layer may read what only an earlier process makes
        if {spec.id for spec in process.description.makes} & wanted.difference(there):
            wanted = wanted | {spec.id for spec in process.description.reads if not spec.optional}
    return wanted


def add_made(process: Process, site: Site, frame: Frame, settings: Settings, progress: Progress) -> None:
    """Run a process on a frame and keep the layers that it has not; a plug-in's that fails is noted. Errors: those of the process."""
    unknown = unknown_facts(_names(process), site, settings)
    if unknown:
        frame.notes.append(f"process {process.id!r} was skipped: nothing in this run tells its {', '.join(unknown)}")
        return
    try:
        made = made_by(process, site, frame, settings, progress)
    except TunnelsiteError as problem:
        if process.id in catalogue.BUILT_IN_PROCESSES:
            raise
        frame.notes.append(f"process {process.id!r} of a plug-in was skipped: {problem}")
        return
    specs = {spec.id: spec for spec in process.description.makes}
    for name in list(made):  # one by one and by no other name, so that what is kept in a file leaves memory here
        if name not in frame.layers:
            values = made[name].values
            spec = specs[name]
            frame.keep(name, _halved(values) if spec.half else values, made[name].unit, spec.no_data)
            del values
        del made[name]


def _halved(values: np.ndarray) -> np.ndarray:
    """Values in half precision; what is the same everywhere, as where nothing looks like water, takes no room."""
    first = values[0, 0]
    return np.broadcast_to(np.float16(first), values.shape) if (values == first).all() else values.astype(np.float16)


def made_by(
    process: Process,
    site: Site,
    frame: Frame,
    settings: Settings,
    progress: Progress = silent,
    given: Mapping[str, Layer] | None = None,
) -> dict[str, Layer]:
    """What a process makes of a frame's layers, told of the site what it declares. Arguments: given, layers in place of those that the
    site would give. Errors: those of the process."""
    about, cell = process.description, (frame.grid.cell_m, frame.grid.cell_m)
    inputs = {spec.id: Layer(frame.layers[spec.id], spec.unit, spec.title, cell)
              for spec in about.reads if spec.id in frame.layers}  # fmt: skip
    wanted = {spec.id for spec in about.reads if not (spec.unless and set(spec.unless) <= inputs.keys())}
    given = {} if given is None else given
    inputs |= given_layers(wanted - given.keys(), site, frame, settings) | dict(given)
    names = _names(process)
    return process(inputs, facts_of(frame, names) | setting_facts(names, site, settings), progress)


def _names(process: Process) -> set[str]:
    return {parameter.id for parameter in process.description.parameters}
