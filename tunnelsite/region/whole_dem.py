"""Drainage of all the land of a region's DEM, from which every task takes what comes to it from beyond its halo."""

from __future__ import annotations

import hashlib
import json
import math
import shutil
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pyproj

from tunnelsite.core.errors import InputRefused, ResourceShortage
from tunnelsite.core.grid import geographic_wkt, transformer
from tunnelsite.core.process import Progress
from tunnelsite.io.read.files import bytes_words, require_memory
from tunnelsite.io.read.height_blocks import HeightBlocks, height_blocks
from tunnelsite.io.read.land_window import window_bounds
from tunnelsite.io.read.mosaic import Mosaic
from tunnelsite.io.read.rasters import covered, height_rules
from tunnelsite.io.write.drained_tiles import DrainedTiles
from tunnelsite.io.write.staging import write_whole
from tunnelsite.region.drainage import FORMAT, TILE, drainage_of, drained, tile_count
from tunnelsite.region.inputs import Region, band_of, part_of
from tunnelsite.region.tasks import Task
from tunnelsite.region.worker_pool import Hands, own_versions
from tunnelsite.screening.run_cost import CLEARLY
from tunnelsite.settings.model import Settings

PERIMETER_BYTES = 200  # of memory a cell of the tiles' perimeters (tests/benchmarks/bench_tiled_drainage.py)
KEPT_BYTES = (
    3.0  # of disk a cell of the tiles that tasks look at; measured on ground with 10 cm of noise, less on smooth ground
)


def drained_region(
    region: Region, settings: Settings, tasks: Sequence[Task], parts: Path, hands: Hands, progress: Progress
) -> DrainedTiles:
    """Drain the whole DEM of a region and keep what its tasks look at.

    Arguments: region, settings, tasks; parts, folder of what is finished; hands; progress.
    Errors: as `drainage.drained`.
    """
    try:
        blocks = _looked_through(region.dem, settings, parts)
        drainage = drainage_of(blocks, spacing_m(blocks), own_versions(), parts)
        windows = [drainage.tiles.grown(*window) for window in windows_of(region, settings, tasks)]
        if windows:
            _require_room(region.dem, windows, drainage.tiles, parts)
            drained(drainage, windows, hands, progress)
        return drainage.tiles
    except InputRefused as problem:
        fix = f"{problem.fix}; or say --drainage halo, which asks no more of the DEM than each task's surroundings"
        raise InputRefused(problem.given, problem.expected, fix) from None


def _require_room(dem: Mosaic, windows: list[tuple[slice, slice]], tiles: DrainedTiles, parts: Path) -> None:
    """Refuse what clearly does not fit, before anything is drained. Errors: ResourceShortage."""
    fix = "screen a smaller DEM at a time, or say --drainage halo"
    what = f"following water over all of {dem.whole.path.name}"
    require_memory(room(dem.whole.shape, 0)[0], what, fix)
    kept = {number for window in windows for number in tiles.numbers(*window)}
    need, free = room(dem.whole.shape, len(kept))[1], shutil.disk_usage(parts).free
    held = sum(path.stat().st_size for path in tiles.folder.glob("*"))
    if CLEARLY * (need - held) > free:
        raise ResourceShortage(
            f"{what} takes about {bytes_words(need)} of disk in {parts}",
            f"at most {bytes_words(free)}, which is what is free",
            fix,
        )


def room(shape: tuple[int, int], tiles_kept: int) -> tuple[int, int]:
    """Bytes of memory of the process that solves the perimeters, and of disk, that draining a raster takes."""
    rows, cols = shape
    perimeters = 4 * TILE * tile_count(shape)
    kept = min(tiles_kept * TILE**2, rows * cols)
    return PERIMETER_BYTES * perimeters, int(KEPT_BYTES * kept + PERIMETER_BYTES / 4 * perimeters)


def windows_of(region: Region, settings: Settings, tasks: Sequence[Task]) -> Iterator[tuple[slice, slice]]:
    """(rows, cols) of the DEM that each task reads, those of tasks that do not meet it left out."""
    for task in tasks:
        try:
            bounds = window_bounds(region.dem.whole, part_of(region.parcels, task.parcels), settings.halo_m)
            yield covered(region.dem.whole, bounds)
        except InputRefused:  # the task itself will say so
            continue


def water_note(dem: Mosaic, drainage: str, halo_m: float) -> str:
    """What the run table says of water from beyond the halo."""
    if drainage == "halo":
        return (
            f"each task knows the land up to {halo_m:g} m round its parcels, as was asked for: water that comes from farther upslope is "
            "not counted, so drainage is a lower bound in valleys that are longer"
        )
    rows, cols = dem.whole.shape
    return (
        f"water was followed over all of {dem.whole.path.name} ({rows} x {cols} cells, D8 on filled ground), so what comes to a task "
        "from beyond its halo is counted; water from beyond the DEM is not known"
    )


def _looked_through(dem: Mosaic, settings: Settings, parts: Path) -> HeightBlocks:
    """The heights of the DEM; the one look through all of it that they need is kept in the parts folder."""
    unit, band, zero = settings.elevation_unit, band_of(dem, settings), settings.zero_is_nodata or None
    rules = height_rules(dem.whole, unit, band, zero)
    asked = [FORMAT, dem.sha256, rules.band, vars(rules.stored)]
    path = parts / f"heights-{hashlib.sha256(json.dumps(asked, sort_keys=True).encode()).hexdigest()[:24]}.json"
    try:
        kept = json.loads(path.read_text("utf-8"))
        return HeightBlocks(dem, rules, float(kept["datum_m"]), bool(kept["drops_zeros"]), tuple(kept["notes"]))
    except (OSError, ValueError, KeyError, TypeError):
        found = height_blocks(dem, vertical_unit=unit, band=band, zero_is_nodata=zero)
    kept = {"datum_m": found.datum_m, "drops_zeros": found.drops_zeros, "notes": list(found.notes)}
    write_whole(path, json.dumps(kept), overwrite=True)
    return replace(found, notes=tuple(kept["notes"]))


def spacing_m(blocks: HeightBlocks) -> tuple[float, float]:
    """(east, north) side of the cells [m], in the middle of the raster where it is in degrees."""
    a, b, c, d, e, f = blocks.affine
    crs, (rows, cols) = blocks.tiles.whole.crs, blocks.shape
    if not crs.is_geographic:
        unit = crs.axis_info[0].unit_conversion_factor
        return math.hypot(a, d) * unit, math.hypot(b, e) * unit
    col, row = cols / 2 + np.array([0.0, 1.0, 0.0]), rows / 2 + np.array([0.0, 0.0, 1.0])
    change = transformer(crs.to_wkt(), geographic_wkt(crs.to_wkt()))
    lon, lat = change.transform(a * col + b * row + c, d * col + e * row + f)
    geod = crs.get_geod() or pyproj.Geod(ellps="WGS84")
    east, north = (geod.inv(lon[0], lat[0], lon[k], lat[k])[2] for k in (1, 2))
    return float(east), float(north)
