"""Which parcels are screened together, and what tells one task from another."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from tunnelsite.core.grid import geographic_wkt, horizontal, transformer
from tunnelsite.core.layers import Features

DEGREE_M = 111_320.0  # of latitude; of longitude times the cosine


@dataclass(frozen=True)
class RegionPlan:
    """How a region is screened.

    Attributes:
        group_size_m: side of the squares whose parcels are screened together [m], 0 = each by itself.
        top: candidates a parcel.
        suitability_m: blocks of the suitability raster [m], or None.
        drainage: `all` = water is followed over the whole DEM first, `halo` = each task knows no more than its halo.
        group_by: column of the parcels by which they are put together, or None.
        keep: whether every placement's measures are kept, for `kept_region`.
    """

    group_size_m: float = 2000.0
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


def tasks_of(
    parcels: Features, names: Sequence[str], group_size_m: float, basis: Mapping[str, Any], land: np.ndarray
) -> list[Task]:
    """Every parcel in exactly one task.

    Parcels whose inner point lies in the same square of longitude and latitude go together, so that the land round them is
    read and its shade computed once. The squares are fixed to the earth: which parcels share a task depends on nothing else,
    neither on the number of workers nor on the files' tiles.

    Arguments: parcels, with their names; group_size_m, side of the squares [m], 0 = every parcel by itself; basis, settings, digests of the
    inputs and versions, whatever JSON can hold; land, int [n], parcels of different numbers never go together.
    """
    return _keyed(parcels, names, _groups(parcels, group_size_m, land), basis, 0)


def each_alone(
    parcels: Features, names: Sequence[str], tasks: Sequence[Task], basis: Mapping[str, Any], first: int
) -> list[Task]:
    """A task for each parcel of some tasks, numbered from `first` on; each is that of `--group-size 0m`. Arguments: as `tasks_of`."""
    return _keyed(parcels, names, [[k] for task in tasks for k in task.parcels.tolist()], basis, first)


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


def _groups(parcels: Features, group_size_m: float, land: np.ndarray) -> list[list[int]]:
    """Positions of the parcels of each group, in the order of the first parcel of each."""
    if group_size_m <= 0:
        return [[k] for k in range(len(parcels))]
    crs = horizontal(parcels.crs)
    points = shapely.get_coordinates(shapely.point_on_surface(parcels.geometry))
    lon, lat = points[:, 0], points[:, 1]
    if not crs.is_geographic:
        lon, lat = transformer(crs.to_wkt(), geographic_wkt(crs.to_wkt())).transform(lon, lat)
    step = group_size_m / DEGREE_M
    groups: dict[tuple[int, int, int], list[int]] = {}
    for k in range(len(parcels)):
        row = math.floor(lat[k] / step)
        narrow = max(math.cos(math.radians((row + 0.5) * step)), 1e-3)
        groups.setdefault((row, math.floor(lon[k] * narrow / step), int(land[k])), []).append(k)
    return list(groups.values())
