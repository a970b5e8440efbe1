"""What a screening will cost in time, memory and disk, said before it is run; and the refusal of what clearly cannot be had.

The coefficients were measured as processor time a cell of each step with one thread (Python 3.11 and 3.12, numba 0.68) while nothing else
ran, and lie between what two servers with 2 cores took, one twice as fast as the other; steps that run on all cores are divided by their
number. Another machine may be half or three times as fast: the range says so. Memory depends on the machine far less.
`tests/benchmarks/bench_cost.py` holds both against real runs.
"""

from __future__ import annotations

import math
import os
import shutil
import tempfile
from dataclasses import dataclass

import numpy as np
import shapely

from tunnelsite.core.errors import ResourceShortage
from tunnelsite.core.grid import Grid
from tunnelsite.core.house import Pad
from tunnelsite.core.reproject import to_grid
from tunnelsite.core.site import Site
from tunnelsite.io.read.files import available_bytes, bytes_words
from tunnelsite.io.write.scratch import COLUMNS_SOONER, FROM_BYTES, Scratch
from tunnelsite.scan.localise import frame_grid
from tunnelsite.settings.model import Settings, crop_period

# Processor time [ns] a cell: on one thread, and on all.
SERIAL_NS = {"local grid": 28.0, "drainage": 16.0, "level patches": 35.0, "cold air": 45.0, "room": 40.0}
SHARED_NS = {
    "local grid": 24.0, "drainage": 28.0, "drainage lines": 85.0, "hilltops": 70.0, "cold air": 24.0, "noon sun": 20.0,
    "open ground": 20.0,
}  # fmt: skip
DIRECTION_NS = 22.0  # a direction and surface of the light, or a wind
PLACEMENT_NS, PAD_CELL_NS = 200.0, 0.7  # a placement that is measured; grading it, a cell of its pad
START_S, FRAME_S, CANDIDATE_S = 1.6, 1.0, 0.0004  # a frame has its own table of the sun
COMPILE_S = 60.0  # once on a machine
RANGE = (0.5, 3.0)  # a faster machine; a slower or a busy one
BASE_BYTES, SCRATCH_BASE_BYTES = 400e6, 600e6
LAYERS, AT_WORK, AT_WORK_SCRATCH, WIND_AT_WORK = 12.0, 4.0, 3.2, 2.0  # arrays of 4 bytes a cell
PASSING = 0.1  # share of the placements in parcels that usually pass every limit
CLEARLY = 0.8  # only what would not fit even if the estimate is a quarter too high is refused


@dataclass(frozen=True)
class Work:
    """How much there is to do.

    Attributes: cells of the grid; source_cells read; parcel_cells; pad_cells of each house; frames, one a bearing; directions of
    the horizon in which the sun stands; surfaces on which light is computed; winds; layers beyond the usual ones; criteria; top.
    """

    cells: int
    source_cells: int
    parcel_cells: int
    pad_cells: tuple[float, ...]
    frames: int = 1
    directions: float = 24.0
    surfaces: int = 1
    winds: int = 0
    layers: int = 0
    criteria: int = 15
    top: int = 20


@dataclass(frozen=True)
class Cost:
    """Estimate: cells and placements looked at; seconds and their range; bytes of memory and of scratch files."""

    cells: int
    placements: int
    seconds: float
    seconds_range: tuple[float, float]
    memory_bytes: int
    scratch_bytes: int


def sun_directions(lat_deg: float, crop_months: str, azimuths: int) -> int:
    """How many of the evenly spaced azimuths have the sun within a sector of them in the crop months (plain geometry)."""
    (first_month, first_day), (last_month, last_day) = crop_period(crop_months)
    first, last = 30.4 * (first_month - 1) + first_day, 30.4 * (last_month - 1) + last_day
    day = first + np.arange(0.0, (last - first) % 365.25 + 5.0, 5.0)[:, None]
    declination = np.radians(23.44 * np.sin(np.radians(360 / 365.25 * (day - 81))))
    hour, lat = np.radians(np.arange(-180.0, 180.0, 2.0))[None], math.radians(lat_deg)
    up = math.sin(lat) * np.sin(declination) + math.cos(lat) * np.cos(declination) * np.cos(hour)
    north = math.cos(lat) * np.sin(declination) - math.sin(lat) * np.cos(declination) * np.cos(hour)
    east = -np.cos(declination) * np.sin(hour)
    sector = (np.degrees(np.arctan2(east, north)) % 360.0 / (360.0 / azimuths)).astype(int)[up > 0]
    return len(np.unique(np.concatenate([sector, sector + 1]) % azimuths))


def work_of(site: Site, settings: Settings, criteria: int) -> tuple[Grid, Work]:
    """The grid of the wanted bearing and the work of a screening. Errors: InputRefused as `frame_grid`."""
    grid = frame_grid(site, bearing_deg=settings.bearing_deg, cell_m=settings.cell_m, halo_m=settings.halo_m)
    area = float(shapely.area(to_grid(site.parcels, grid).geometry).sum())
    pads = [Pad.around(house, settings.apron_m) for house in settings.houses]
    lat = float(grid.lonlat(0.0, 0.0)[1])
    given = [item for item in (site.obstacles, site.lamps, site.soils) if item is not None and len(item)]
    return grid, Work(
        cells=grid.rows * grid.cols,
        source_cells=site.dem.values.size + (site.surface.values.size if site.surface is not None else 0),
        parcel_cells=int(area / grid.cell_m**2),
        pad_cells=tuple(pad.area_m2 / grid.cell_m**2 for pad in pads),
        frames=len(settings.bearings),
        directions=sun_directions(lat, settings.crop_months, settings.azimuths),
        winds=0 if site.wind is None else len(site.wind.text().split(",")),
        layers=sum(2 if item is site.soils else 1 for item in given if item is not site.obstacles),
        criteria=criteria,
        top=settings.top,
    )


def estimated(work: Work, cores: int | None = None, scratch_from_bytes: int = FROM_BYTES) -> Cost:
    """The cost of one run.

    Arguments: work; cores, those of this machine where None; scratch_from_bytes, from which size on a layer lives in a file.
    """
    cores = cores or os.cpu_count() or 1
    serial = work.cells * sum(SERIAL_NS.values())
    shared = work.cells * (sum(SHARED_NS.values()) + DIRECTION_NS * (work.directions * work.surfaces + work.winds))
    for pad in work.pad_cells:
        shared += work.parcel_cells * (PLACEMENT_NS + PAD_CELL_NS * pad)
    seconds = work.frames * (FRAME_S + 1e-9 * (serial + shared / cores)) + START_S + CANDIDATE_S * work.top
    layer, kept = 4 * work.cells, LAYERS + work.layers + (1 if work.winds else 0) + (work.surfaces - 1)
    at_work = WIND_AT_WORK if work.winds else 0.0
    placements = work.parcel_cells * len(work.pad_cells) * work.frames
    measures = PASSING * placements * (20 + 4 * work.criteria)
    if layer < scratch_from_bytes:
        memory = BASE_BYTES + 4 * work.source_cells + layer * (kept * work.frames + AT_WORK + at_work)
        disk = 0.0
    else:
        memory = SCRATCH_BASE_BYTES + layer * (AT_WORK_SCRATCH + 2 * at_work)
        disk = 4 * work.source_cells + layer * kept * work.frames
    if 4 * PASSING * work.parcel_cells < scratch_from_bytes / COLUMNS_SOONER:
        memory += measures
    else:
        disk += measures
    low, high = (seconds * share for share in RANGE)
    return Cost(work.cells, placements, seconds, (low, high), int(memory), int(disk))


def refuse_shortage(site: Site, settings: Settings, criteria: int) -> None:
    """Refuse a run that clearly needs more memory or disk than there is. Errors: ResourceShortage, before anything is computed."""
    grid, work = work_of(site, settings, criteria)
    scratch_from = site.store.from_bytes if isinstance(site.store, Scratch) else 1 << 62
    cost = estimated(work, scratch_from_bytes=scratch_from)
    layers_in_files = 4 * work.cells >= scratch_from
    held = 0 if layers_in_files else 4 * work.source_cells  # what was read is in memory already
    place = tempfile.gettempdir()
    for need, room, what in (
        (cost.memory_bytes - held, available_bytes(), "memory"),
        (cost.scratch_bytes * layers_in_files, shutil.disk_usage(place).free, f"scratch files in {place}"),
    ):
        if CLEARLY * need > room:
            raise ResourceShortage(
                f"screening {grid.rows} x {grid.cols} cells for {work.frames} bearings takes about {bytes_words(need)} of {what}",
                f"at most {bytes_words(room)}, which is what is free",
                "give fewer bearings, a smaller --halo, a coarser --cell or fewer parcels at a time",
            )
