"""Which parcels are screened together, and what tells one task from another."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from tunnelsite.core.grid import geographic_wkt, horizontal, transformer
from tunnelsite.core.layers import Features

# Of squares, where none is asked for: what lies round a task is looked at once a task. All that is small is one task.
SIZES_M = (math.inf, 8000.0, 4000.0, 2000.0)
MOST_CELLS = 20_000_000  # of a task's land, about 2 GB of memory; where even the smallest square has more, it is as large as that
WIDEST_M = 16_000.0  # of a task's parcels: even at 60 degrees north, east on its local grid is off true east by 0.12 degrees at most
MOST_PARCELS = 3000  # in a task, or one worker would be left with it at the end
FEW = 16  # parcels: of a task that fails, one alone may be at fault; a larger one is halved to find it
DEGREE_M = 111_320.0  # of latitude; of longitude times the cosine


@dataclass(frozen=True)
class RegionPlan:
    """How a region is screened.

    Attributes:
        group_size_m: side of the squares whose parcels are screened together [m], 0 = each by itself, None = all at once or squares
            of 8, 4 or 2 km, the largest that keeps a task small.
        top: candidates a parcel.
        suitability_m: blocks of the suitability raster [m], or None.
        drainage: `all` = water is followed over the whole DEM first, `halo` = each task knows no more than its halo.
        group_by: column of the parcels by which they are put together, or None.
        keep: whether every placement's measures are kept, for `kept_region`.
    """

    group_size_m: float | None = None
    top: int = 3
    suitability_m: float | None = None
    drainage: str = "all"
    group_by: str | None = None
    keep: bool = False


@dataclass(frozen=True)
class Task:
    """Parcels that are screened together on one local grid.

    Attributes: number, in the order of the run; parcels, int64 [n], positions in the parcels file, rising; key, 64 hexadecimal
    digits that change with anything the task's answer depends on.
    """

    number: int
    parcels: np.ndarray
    key: str


@dataclass(frozen=True)
class Squares:
    """How parcels are put together: size_m, side of the squares [m], 0 = every parcel by itself, None = as `RegionPlan` says; halo_m,
    land that is read round a task; cell_m, side of its cells."""

    size_m: float | None
    halo_m: float
    cell_m: float


def tasks_of(
    parcels: Features, names: Sequence[str], squares: Squares, basis: Mapping[str, Any], land: np.ndarray
) -> list[Task]:
    """Every parcel in exactly one task.

    Parcels whose inner point lies in the same square of longitude and latitude go together, so that the land round them is
    read and its shade computed once. The squares are fixed to the earth: which parcels share a task depends neither on the
    number of workers nor on the files' tiles.

    Arguments: parcels, with their names; squares; basis, settings, digests of the
    inputs and versions, whatever JSON can hold; land, int [n], parcels of different numbers never go together.
    """
    return _keyed(parcels, names, _groups(parcels, squares, land), basis, 0)


def smaller_tasks(
    parcels: Features, names: Sequence[str], tasks: Sequence[Task], basis: Mapping[str, Any], first: int
) -> list[Task]:
    """Each of some tasks in two, cut across its longer side, or in one for each parcel where it has few, which is that of
    `--group-size 0m`; numbered from `first` on. Arguments: as `tasks_of`."""
    boxes = lonlat_boxes(parcels)
    return _keyed(parcels, names, [part for task in tasks for part in _cut(task.parcels, boxes)], basis, first)


def all_smaller_tasks(
    parcels: Features, names: Sequence[str], tasks: Sequence[Task], basis: Mapping[str, Any]
) -> list[Task]:
    """Every task that may come of some when they are cut again and again."""
    found, left = list[Task](), list(tasks)
    while left:
        found += (parts := smaller_tasks(parcels, names, left, basis, 0))
        left = [task for task in parts if len(task.parcels) > 1]
    return found


def _cut(members: np.ndarray, boxes: np.ndarray) -> list[list[int]]:
    if len(members) <= FEW:
        return [[k] for k in members.tolist()]
    middle = boxes[members, :2] + boxes[members, 2:]
    middle[:, 0] *= math.cos(math.radians(middle[:, 1].mean() / 2))
    order = members[np.argsort(middle[:, np.argmax(np.ptp(middle, axis=0))], kind="stable")]
    return [sorted(half.tolist()) for half in np.array_split(order, 2)]


def _keyed(
    parcels: Features, names: Sequence[str], groups: Sequence[Sequence[int]], basis: Mapping[str, Any], first: int
) -> list[Task]:
    blobs = shapely.to_wkb(parcels.geometry)
    common = json.dumps(basis, sort_keys=True).encode()
    found = []
    for number, members in enumerate(groups, first):
        digest = hashlib.sha256(common)
        for k in members:
            digest.update(b"%d:" % k + blobs[k])
        digest.update(json.dumps([names[k] for k in members]).encode())
        found.append(Task(number, np.array(members, np.int64), digest.hexdigest()))
    return found


def _groups(parcels: Features, squares: Squares, land: np.ndarray) -> list[list[int]]:
    """Positions of the parcels of each group, in the order of the first parcel of each."""
    if squares.size_m == 0:
        return [[k] for k in range(len(parcels))]
    crs = horizontal(parcels.crs)
    points = shapely.get_coordinates(shapely.point_on_surface(parcels.geometry))
    lon, lat = points[:, 0], points[:, 1]
    if not crs.is_geographic:
        lon, lat = transformer(crs.to_wkt(), geographic_wkt(crs.to_wkt())).transform(lon, lat)
    if squares.size_m is not None:
        return _in_squares(range(len(parcels)), lon, lat, land, squares.size_m)
    boxes, groups, left = lonlat_boxes(parcels), [], list(range(len(parcels)))
    for size_m in SIZES_M:
        found = _in_squares(left, lon, lat, land, size_m)
        small = [one for one in found if size_m == SIZES_M[-1] or _is_small(boxes[one], squares)]
        groups += small
        left = sorted(set(left).difference(*small))
    return sorted(groups)


def _in_squares(
    some: Iterable[int], lon: np.ndarray, lat: np.ndarray, land: np.ndarray, size_m: float
) -> list[list[int]]:
    """Some of the places by the square that each lies in; all of one land where a square has no end."""
    step = size_m / DEGREE_M
    groups: dict[tuple[int, int, int], list[int]] = {}
    for k in some:
        if step == math.inf:
            groups.setdefault((0, 0, int(land[k])), []).append(k)
            continue
        row = math.floor(lat[k] / step)
        narrow = max(math.cos(math.radians((row + 0.5) * step)), 1e-3)
        groups.setdefault((row, math.floor(lon[k] * narrow / step), int(land[k])), []).append(k)
    return list(groups.values())


def _is_small(boxes: np.ndarray, squares: Squares) -> bool:
    """Whether parcels with these boxes make a task that one worker takes easily."""
    rows, cols = grid_size(boxes, squares.halo_m, squares.cell_m)
    wide_m = max(rows, cols) * squares.cell_m - 2 * squares.halo_m
    return len(boxes) <= MOST_PARCELS and rows * cols <= MOST_CELLS and wide_m <= WIDEST_M


def grid_size(boxes: np.ndarray, halo_m: float, cell_m: float) -> tuple[int, int]:
    """(rows, cols) of the grid round boxes of longitude and latitude [deg], float64 [n, 4], where the DEM does not end before."""
    south, north = boxes[:, 1].min(), boxes[:, 3].max()
    wide_m = (boxes[:, 2].max() - boxes[:, 0].min()) * DEGREE_M * math.cos(math.radians((south + north) / 2))
    return math.ceil(((north - south) * DEGREE_M + 2 * halo_m) / cell_m), math.ceil((wide_m + 2 * halo_m) / cell_m)


def lonlat_boxes(parcels: Features) -> np.ndarray:
    """(west, south, east, north) of every parcel [deg]: float64 [n, 4]."""
    crs = horizontal(parcels.crs)
    box: np.ndarray = shapely.bounds(parcels.geometry)
    if crs.is_geographic:
        return box
    change = transformer(crs.to_wkt(), geographic_wkt(crs.to_wkt()))
    corners = [change.transform(box[:, i], box[:, j]) for i, j in ((0, 1), (0, 3), (2, 1), (2, 3))]
    lon, lat = (np.array([corner[k] for corner in corners]) for k in (0, 1))
    return np.column_stack([lon.min(0), lat.min(0), lon.max(0), lat.max(0)])
