"""What a region will cost, from the sizes of its tasks alone."""

from __future__ import annotations

import math
import os
from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely

from tunnelsite.core.catalogue import BUILT_IN_CRITERIA as CRITERIA
from tunnelsite.core.house import Pad
from tunnelsite.region.drainage import TILE, is_small, tile_count
from tunnelsite.region.inputs import Region, own_cell_m
from tunnelsite.region.tasks import DEGREE_M, RegionPlan, Task, grid_size, lonlat_boxes
from tunnelsite.region.whole_dem import room, windows_of
from tunnelsite.screening.run_cost import START_S, Work, estimated, sun_directions
from tunnelsite.settings.model import Settings

# Processor time [ns] a cell of the DEM: looked through once by one process; drained by all workers, tile by tile.
LOOKED_THROUGH_NS, DRAINED_NS = 16.0, 600.0
DRAINED_AT_ONCE_NS = 220.0  # of a DEM that is drained in one piece (tests/benchmarks/bench_region.py)
# Processor time [s]: of the program before its first task and after its last; of a parcel and house size, beside its candidates.
PROGRAM_S, PARCEL_S = 2.0, 0.001


def whole_cost(region: Region, tasks: Sequence[Task], settings: Settings, plan: RegionPlan) -> dict[str, Any]:
    """`region_cost` over the lands of all coordinate systems among the tiles: times and sizes together, the largest task's the largest."""
    land_of = region.land_of
    each = [
        region_cost(land, [task for task in tasks if land_of[task.parcels[0]] == number], settings, plan)
        for number, land in enumerate(region.lands)
    ]
    found = dict(each[0])
    for other in each[1:]:
        for name, value in other.items():
            if name.startswith("largest_"):
                found[name] = max(found[name], value)
            elif name not in ("cell_m", "drainage"):
                found[name] += value
    return found


def region_cost(region: Region, tasks: Sequence[Task], settings: Settings, plan: RegionPlan) -> dict[str, Any]:
    """`cell_m`, `cells` of all tasks' grids, `hours` of work, seconds and bytes of the largest task; of these hours
    `drainage_hours`, and what draining takes of disk and of this process's memory [bytes]. `processor_seconds` are those of all
    cores together, from the start of the program to its end."""
    boxes, own = lonlat_boxes(region.parcels), own_cell_m(region)
    cell = settings.cell_m or own
    seconds, processor, worst, memory, cells = PROGRAM_S, PROGRAM_S, 0.0, 0, 0
    areas = _areas_m2(region, boxes)
    for task in tasks:
        box = boxes[task.parcels]
        rows, cols = grid_size(box, settings.halo_m, cell)
        read = [
            (high.stop - high.start) * (along.stop - along.start)
            for high, along in windows_of(region, settings, [task])
        ]
        within = min(rows * cols, int(sum(read) * (own / cell) ** 2))  # the land round a task may end with the DEM
        work = Work(
            cells=within,
            source_cells=within * (1 if region.surface is None else 2),
            parcel_cells=int(areas[task.parcels].sum() / cell**2),
            pad_cells=tuple(Pad.around(house, settings.apron_m).area_m2 / cell**2 for house in settings.houses),
            frames=len(settings.bearings),
            directions=sun_directions((box[:, 1].min() + box[:, 3].max()) / 2, settings.crop_months, settings.azimuths),
            winds=0 if region.wind is None else len(region.wind.text().split(",")),
            criteria=len(CRITERIA),
            top=plan.top * len(task.parcels),
        )
        cost = estimated(work)
        parcels_s = PARCEL_S * len(task.parcels) * len(settings.houses)
        processor += estimated(work, cores=1).seconds - START_S + parcels_s
        seconds, cells = (
            seconds + cost.seconds - START_S + parcels_s,
            cells + cost.cells,
        )  # a worker starts once, not once a task
        worst, memory = max(worst, cost.seconds + parcels_s), max(memory, cost.memory_bytes)
    water = _drainage_cost(region, tasks, settings) if plan.drainage == "all" else (0.0, 0, 0)
    if plan.drainage == "all":
        processor += 1e-9 * math.prod(region.dem.whole.shape) * _water_ns(region.dem.whole.shape)
    return {
        "cell_m": cell, "cells": cells, "hours": (seconds + water[0]) / 3600,
        "processor_seconds": processor, "largest_seconds": worst,
        "largest_memory_bytes": memory, "drainage": plan.drainage, "drainage_hours": water[0] / 3600,
        "drainage_memory_bytes": water[1], "drainage_disk_bytes": water[2],
    }  # fmt: skip


def _water_ns(shape: tuple[int, int], workers: int = 1) -> float:
    """Time [ns] a cell that following water takes, shared by so many workers."""
    return LOOKED_THROUGH_NS + (DRAINED_AT_ONCE_NS if is_small(shape) else DRAINED_NS / workers)


def _drainage_cost(region: Region, tasks: Sequence[Task], settings: Settings) -> tuple[float, int, int]:
    """(seconds, bytes of memory here, bytes of disk) of following water over the whole DEM."""
    rows, cols = region.dem.whole.shape
    along = -(-cols // TILE)
    kept = {
        row * along + col
        for high, wide in windows_of(region, settings, tasks)
        for row in range(high.start // TILE, (high.stop - 1) // TILE + 1)
        for col in range(wide.start // TILE, (wide.stop - 1) // TILE + 1)
    }
    at_once = 1 if is_small((rows, cols)) else min(os.cpu_count() or 1, tile_count((rows, cols)))
    seconds = 1e-9 * rows * cols * _water_ns((rows, cols), at_once)
    return seconds, *room((rows, cols), len(kept))


def _areas_m2(region: Region, boxes: np.ndarray) -> np.ndarray:
    """Area of every parcel [m2]: its share of its box times the box's own size on the earth."""
    box = shapely.bounds(region.parcels.geometry)
    share = shapely.area(region.parcels.geometry) / ((box[:, 2] - box[:, 0]) * (box[:, 3] - box[:, 1]))
    high = (boxes[:, 3] - boxes[:, 1]) * DEGREE_M
    wide = (boxes[:, 2] - boxes[:, 0]) * DEGREE_M * np.cos(np.radians(boxes[:, [1, 3]].mean(1)))
    found: np.ndarray = share * high * wide
    return found
