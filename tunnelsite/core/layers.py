"""What is handed round inside: rasters with their grid and unit, features with their columns. No files here."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TypeVar

import numpy as np
import pyproj

# columns that may name a parcel, the likeliest first
PARCEL_NAMES = ("parcel", "name", "parcel_id", "parcelid", "pin", "apn")
STATED = ", as stated"  # in the note on a vertical unit that the user gave

Affine = tuple[float, float, float, float, float, float]  # (a, b, c, d, e, f): columns and rows to map coordinates
Part = tuple[slice, slice] | np.ndarray  # index of a part of [rows, cols]: a block, or a mask of the same shape


Coordinates = TypeVar("Coordinates", float, np.ndarray)


def cells_at(affine: Affine, east: Coordinates, north: Coordinates) -> tuple[Coordinates, Coordinates]:
    """(column, row) of map coordinates, counted from the outer corner of the first cell: the inverse of an affine."""
    a, b, c, d, e, f = affine
    area = a * e - b * d
    return (e * (east - c) - b * (north - f)) / area, (a * (north - f) - d * (east - c)) / area


@dataclass(frozen=True)
class SourceRaster:
    """A raster as it was read, in its own coordinate system, heights already in metres.

    Attributes:
        values: float32 [rows, cols], metres above `datum_m`, NaN = no data; row 0 is at the first row of the affine.
        affine: (a, b, c, d, e, f) to map coordinates of `crs`, for outer corners of cells.
        crs: horizontal coordinate system.
        datum_m: subtracted from the values so that float32 keeps the micrometres.
        name: file name without folders. sha256: of the file. unit: vertical unit found or assumed.
        notes: what was found or assumed, in plain words.
        classes: whether the values are numbers of classes, between which nothing lies.
    """

    values: np.ndarray
    affine: Affine
    crs: pyproj.CRS
    datum_m: float = 0.0
    name: str = "DEM"
    sha256: str = ""
    unit: str = "m"
    notes: tuple[str, ...] = ()
    classes: bool = False

    @property
    def shape(self) -> tuple[int, int]:
        """(rows, cols)."""
        return self.values.shape

    @property
    def rows(self) -> int:
        """Rows."""
        return int(self.values.shape[0])

    @property
    def cols(self) -> int:
        """Columns."""
        return int(self.values.shape[1])


@dataclass(frozen=True)
class Drained:
    """A part of a raster that was drained with all the land there is round it, in the raster's own cells.

    Attributes:
        direction: uint8 [rows, cols], the code of the neighbour each cell drains to. cells: [rows, cols], how many drain through
        each, 0 = no data.
        open_edge: bool [rows, cols], where that is a lower bound. depth: float32 [rows, cols], depth of hollows [m], NaN = no data.
        affine: (a, b, c, d, e, f) to map coordinates of `crs`, for outer corners of cells.
    """

    direction: np.ndarray
    cells: np.ndarray
    open_edge: np.ndarray
    depth: np.ndarray
    affine: Affine
    crs: pyproj.CRS


@dataclass(frozen=True)
class Features:
    """Vector features as they were read or reprojected.

    Attributes:
        geometry: shapely geometries, 1-D object array.
        columns: attribute arrays of the same length, by name.
        crs: coordinate system of the geometry.
        name: file name without folders. sha256: of the file. notes: what was repaired, dropped or assumed.
        distance_m: keep-out distance, where the features are a keep-out.
    """

    geometry: np.ndarray
    columns: dict[str, np.ndarray] = field(default_factory=dict)
    crs: pyproj.CRS | None = None
    name: str = ""
    sha256: str = ""
    notes: tuple[str, ...] = ()
    distance_m: float = 0.0

    def __len__(self) -> int:
        return len(self.geometry)


@dataclass(frozen=True)
class Layer:
    """One raster layer on a grid: an input or output of a process.

    Attributes:
        values: 2-D array, NaN = no data. unit: as in `m`, `1`, `deg`, `m2`. title: a few words.
        cell_m: (east-west, north-south) cell size [m].
        corner_m: how far the outer first corner of the ground it is read with lies (down the rows, along the columns) of it [m].
    """

    values: np.ndarray
    unit: str
    title: str
    cell_m: tuple[float, float] = (1.0, 1.0)
    corner_m: tuple[float, float] = (0.0, 0.0)
