"""What each task found as GeoParquet of its own, written as soon as it is known: a region too large to be put together in memory."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from tunnelsite.core.grid import horizontal
from tunnelsite.core.table import Places, table_of
from tunnelsite.io.formats.sheets import parquet_bytes
from tunnelsite.io.write.outputs import make_folder
from tunnelsite.io.write.staging import OutputExists, write_whole
from tunnelsite.region.inputs import Region, part_of
from tunnelsite.region.merging import rows_of
from tunnelsite.region.parcel_columns import own_columns, parcel_columns
from tunnelsite.region.part import columns_of
from tunnelsite.region.tasks import Task

LAYERS = ("candidates", "parcels")


class Partitions:
    """A folder with a folder for each layer, in which every task has one file.

    Arguments: folder; region; houses, sizes as given; overwrite, whether partitions of another run may be removed.
    """

    def __init__(self, folder: Path, region: Region, houses: Sequence[str], *, overwrite: bool) -> None:
        self._folder, self._region, self._overwrite = folder, region, overwrite
        self._crs, columns = horizontal(region.parcels.crs), parcel_columns(houses)
        own, self._own_rows = own_columns(region.parcels, list(columns))
        self._columns = columns | own

    def path(self, layer: str, task: Task) -> Path:
        """Where a task's partition of a layer lies."""
        return self._folder / layer / f"{task.key[:32]}.parquet"

    def begin(self, tasks: Iterable[Task]) -> None:
        """Make the folders. Errors: OutputExists for partitions of another run, which would be read with this one's; OutputFailed."""
        names = {self.path(layer, task) for task in tasks for layer in LAYERS}
        for layer in LAYERS:
            make_folder(self._folder / layer, "a folder for partitions")
            other = [path for path in (self._folder / layer).glob("*.parquet") if path not in names]
            if other and not self._overwrite:
                raise OutputExists(
                    f"{other[0]} is of another run",
                    "a folder without partitions of others",
                    "name another --out, or --overwrite",
                )
            for path in other:
                path.unlink()

    def end(self, tasks: Iterable[Task]) -> None:
        """Leave only those of the tasks whose answer stands: a group that failed once may have succeeded since."""
        names = {self.path(layer, task) for task in tasks for layer in LAYERS}
        for layer in LAYERS:
            for path in (self._folder / layer).glob("*.parquet"):
                if path not in names:
                    path.unlink()

    def has(self, task: Task) -> bool:
        """Whether a task's partitions are there."""
        return all(self.path(layer, task).exists() for layer in LAYERS)

    def write(self, task: Task, part: dict[str, Any]) -> None:
        """Write a task's partitions, each whole or not at all. Errors: OutputFailed."""
        stored = part["candidates"]
        columns = {name: column for name, column in columns_of([stored]).items() if name != "rank"}
        shapes = shapely.from_wkb(np.array(stored["geometry"], object))
        found = table_of(
            "candidates", stored["title"], columns, rows_of(stored), Places(shapes, stored["geometry_type"], self._crs)
        )
        own = {"task": task.number, "state": "screened"}
        rows = [
            {**own, **row, **self._own_rows[k], "candidates": stored["values"]["parcel"].count(row["parcel"])}
            for row, k in zip(part["parcels"], task.parcels.tolist(), strict=True)
        ]
        outlines = part_of(self._region.parcels, task.parcels).geometry
        several = [shapely.multipolygons([s]) if s.geom_type == "Polygon" else s for s in outlines]
        title = "Parcels, what was tried and what passed"
        parcels = table_of(
            "parcels", title, self._columns, rows, Places(np.array(several, object), "MultiPolygon", self._crs)
        )
        for table in (found, parcels):
            write_whole(self.path(table.name, task), parquet_bytes(table, self._crs), overwrite=True)
