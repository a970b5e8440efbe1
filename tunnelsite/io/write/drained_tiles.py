"""A raster's drainage in files, tile by tile: written whole, read a window at a time."""

from __future__ import annotations

import io
import zipfile
import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pyproj

from tunnelsite.core.errors import InputRefused
from tunnelsite.core.layers import Drained
from tunnelsite.io.write.staging import write_whole

BLOCK = 512  # a window is read in blocks of this many cells
_DAMAGE = (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile, zlib.error)
_MADE = (1980, 1, 1, 0, 0, 0)  # the same arrays give the same bytes, whenever they are written
_TYPES = {"direction": np.uint8, "cells": np.float32, "open_edge": np.bool_, "depth": np.float32}


def write_arrays(path: Path, arrays: Mapping[str, np.ndarray]) -> None:
    """Write arrays by name as one file (a zip archive of .npy), whole or not at all. Errors: OutputFailed."""
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as archive:
        for name, values in arrays.items():
            part = io.BytesIO()
            np.lib.format.write_array(part, np.ascontiguousarray(values), allow_pickle=False)
            entry = zipfile.ZipInfo(f"{name}.npy", _MADE)
            archive.writestr(entry, part.getvalue(), zipfile.ZIP_DEFLATED, 1)
    write_whole(path, stream.getvalue(), overwrite=True)


def read_arrays(path: Path) -> dict[str, np.ndarray] | None:
    """All arrays of a file; None where it is not there or not whole."""
    try:
        with zipfile.ZipFile(path) as archive:
            return {name.removesuffix(".npy"): _array(archive, name) for name in archive.namelist()}
    except _DAMAGE:
        return None


def is_whole(path: Path) -> bool:
    """Whether a file is there and not cut off; what lies inside is checked when it is read."""
    try:
        with zipfile.ZipFile(path) as archive:
            return bool(archive.namelist())
    except _DAMAGE:
        return False


def write_tile(path: Path, layers: Mapping[str, np.ndarray]) -> None:
    """Write one tile: `direction`, `cells` (whole numbers), `open_edge`, `depth`, all [rows, cols]. Errors: OutputFailed."""
    arrays = {}
    for name, values in layers.items():
        if name == "cells":
            values = values.astype(np.min_scalar_type(int(values.max(initial=0))))
        for row in range(0, values.shape[0], BLOCK):
            for col in range(0, values.shape[1], BLOCK):
                arrays[f"{name}-{row}-{col}"] = values[row : row + BLOCK, col : col + BLOCK]
    write_arrays(path, arrays)


@dataclass(frozen=True)
class DrainedTiles:
    """Where a raster's drainage lies: small enough to be sent to a worker.

    Attributes: folder, that every worker sees by the same path; shape and affine of the raster, north up; tile, cells along a
    tile's side; crs_wkt.
    """

    folder: Path
    shape: tuple[int, int]
    tile: int
    affine: tuple[float, float, float, float, float, float]
    crs_wkt: str

    def path(self, number: int) -> Path:
        """The file of a tile; tiles are numbered row by row from the north-west."""
        return self.folder / f"tile-{number}.zip"

    def grown(self, rows: slice, cols: slice, by: int = 2) -> tuple[slice, slice]:
        """A window and some cells round it, as far as the raster reaches."""
        high, wide = self.shape
        return slice(max(rows.start - by, 0), min(rows.stop + by, high)), slice(
            max(cols.start - by, 0), min(cols.stop + by, wide)
        )

    def numbers(self, rows: slice, cols: slice) -> list[int]:
        """The tiles that hold any of a window."""
        along = -(-self.shape[1] // self.tile)
        return [
            row * along + col
            for row in range(rows.start // self.tile, (rows.stop - 1) // self.tile + 1)
            for col in range(cols.start // self.tile, (cols.stop - 1) // self.tile + 1)
        ]

    def read(self, rows: slice, cols: slice) -> Drained:
        """The drainage of a window. Errors: InputRefused for a tile that is missing or damaged."""
        shape = (rows.stop - rows.start, cols.stop - cols.start)
        layers = {name: np.zeros(shape, kind) for name, kind in _TYPES.items()}
        along = -(-self.shape[1] // self.tile)
        for number in self.numbers(rows, cols):
            corner = (number // along * self.tile, number % along * self.tile)
            try:
                with zipfile.ZipFile(self.path(number)) as archive:
                    _fill(archive, layers, (rows, cols), corner)
            except _DAMAGE as problem:
                raise InputRefused(
                    f"{self.path(number)} cannot be read ({problem})",
                    "a whole tile of the region's drainage, which every worker sees by this path",
                    "delete it and run again; with --scheduler put --parts where the workers see it",
                ) from None
        a, b, c, d, e, f = self.affine
        affine = (a, b, a * cols.start + b * rows.start + c, d, e, d * cols.start + e * rows.start + f)
        return Drained(**layers, affine=affine, crs=pyproj.CRS.from_wkt(self.crs_wkt))


def _array(archive: zipfile.ZipFile, name: str) -> np.ndarray:
    with archive.open(name) as file:
        return np.lib.format.read_array(file, allow_pickle=False)


def _fill(
    archive: zipfile.ZipFile, layers: dict[str, np.ndarray], window: tuple[slice, slice], corner: tuple[int, int]
) -> None:
    """Put in what a tile, whose first cell is `corner` of the raster, holds of a window."""
    for entry in archive.namelist():
        name, row, col = entry.removesuffix(".npy").split("-")
        top, left = corner[0] + int(row), corner[1] + int(col)
        rows, cols = window
        if top >= rows.stop or left >= cols.stop or top + BLOCK <= rows.start or left + BLOCK <= cols.start:
            continue
        values = _array(archive, entry)
        first, last = max(top, rows.start), min(top + values.shape[0], rows.stop)
        west, east = max(left, cols.start), min(left + values.shape[1], cols.stop)
        layers[name][first - rows.start : last - rows.start, west - cols.start : east - cols.start] = values[
            first - top : last - top, west - left : east - left
        ]
