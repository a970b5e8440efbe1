"""Writes a layer as a Cloud Optimized GeoTIFF (OGC 21-026) and reads every cell back before it counts as
written."""

from __future__ import annotations

import math
import os
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pyproj
import rasterio
import rasterio.shutil
from rasterio.errors import RasterioError
from rasterio.io import MemoryFile
from rasterio.windows import Window

from tunnelsite.core.errors import ResourceShortage
from tunnelsite.core.grid import Grid, transformer
from tunnelsite.core.layers import SourceRaster
from tunnelsite.io.formats.overviews import WAYS, copied_with_levels, halves, levels_in_memory
from tunnelsite.io.formats.systems import flat_system
from tunnelsite.io.write.staging import size_words, staged

TILE = 512
_PIECE = 1 << 24
Place = Grid | SourceRaster  # both know shape, rows, cols, affine and crs


def write_cog(
    path: str | os.PathLike[str],
    values: np.ndarray,
    grid: Place,
    *,
    unit: str,
    title: str,
    overwrite: bool,
    overviews: str = "average",
) -> None:
    """Writes a layer with its grid, unit and statistics as a Cloud Optimized GeoTIFF, whole or not at all.

    Values are stored as float32 (deflate, 512 x 512 tiles). A grid turned with the ridge keeps its rotation
    in the file's affine. The same input gives the same bytes with the same version of GDAL.

    Arguments: path; values [rows, cols] of any real dtype, NaN = no data; grid, or a raster as it was read, of the same
    shape; unit, as in
    `m`, `1`, `deg`; title, a few words; overwrite, whether an existing file may be replaced; overviews, how
    coarser copies are made: `average`, `nearest` (for angles that wrap, whose mean means nothing), `mode`
    (for classes) or `max` (for streams, which means would thin away); see `io.formats.overviews`.
    Errors: OutputFailed if it cannot be written (what was there stays); ValueError for another shape, an
    infinite value or an unknown overview.
    """
    check_overviews(overviews)
    cells = _single_precision(values, grid, title)

    def same_cells(file: rasterio.io.DatasetReader) -> None:
        for row in range(0, grid.rows, TILE):
            window = Window(0, row, grid.cols, min(TILE, grid.rows - row))
            if not np.array_equal(file.read(1, window=window), cells[row : row + TILE], equal_nan=True):
                raise OSError(f"read back, the cells from row {row} on differ from what was written")

    # Made in memory: on a full disk GDAL's COG driver can crash the process (seen with 3.10), Python's
    # writing fails cleanly.
    try:
        memory = _in_memory(cells, grid, unit, title, overviews)
    except RasterioError as error:
        room = f"about {size_words(3 * cells.nbytes)} of free memory"
        raise ResourceShortage(
            f"layer {title!r} could not be made in memory ({error})", room, "use a larger cell"
        ) from error
    with memory as made:
        content = memoryview(made.getbuffer()).cast("B")

        def verify(temp: Path) -> None:
            _verify_bytes(temp, content)
            verify_cog(temp, grid, unit, same_cells)

        need = content.nbytes
        with staged(path, overwrite=overwrite, need_bytes=need, verify=verify, driver_errors=(RasterioError,)) as temp:
            temp.write_bytes(content)


def _verify_bytes(temp: Path, content: memoryview) -> None:
    """The cells say nothing of the bytes between and after the tiles."""
    with open(temp, "rb") as file:
        for first in range(0, content.nbytes, _PIECE):
            if file.read(_PIECE) != content[first : first + _PIECE]:
                raise OSError("what was read back differs from what was written")
        if file.read(1):
            raise OSError("what was read back is longer than what was written")


def check_overviews(overviews: str) -> None:
    """Errors: ValueError for a way of making coarser copies that is not known."""
    if overviews not in WAYS:
        raise ValueError(f"overviews are {overviews!r}, not one of {', '.join(WAYS)}")


def _single_precision(values: np.ndarray, grid: Place, title: str) -> np.ndarray:
    if np.shape(values) != grid.shape:
        raise ValueError(f"values are {np.shape(values)}, the grid is {grid.shape}")
    with np.errstate(over="ignore"):
        cells = np.ascontiguousarray(values, np.float32)
    if np.isinf(cells).any():
        raise ValueError(f"layer {title!r} holds a value that is infinite in single precision")
    return cells


def _in_memory(cells: np.ndarray, grid: Place, unit: str, title: str, overviews: str) -> MemoryFile:
    # One thread: with several, GDAL has hidden failed writes. No .aux.xml: what the file itself cannot hold
    # must fail the check. Copied rather than opened as a COG: the same bytes, but rasterio lets go of the
    # interpreter meanwhile, so that Ctrl-C is heard while a large layer is compressed.
    options, memory = cog_options(overviews), MemoryFile(ext=".tif")
    with rasterio.Env(GDAL_NUM_THREADS="1", GDAL_PAM_ENABLED="NO"), MemoryFile(ext=".tif") as plain:
        with plain.open(driver="GTiff" if overviews == "max" else "MEM", **profile_of(grid)) as file:
            file.write(cells, 1)
            describe(file, grid, unit, title, lambda: (cells[row : row + TILE] for row in range(0, len(cells), TILE)))
            if overviews != "max":
                rasterio.shutil.copy(file, memory.name, driver="COG", **options)
        if overviews == "max":
            with levels_in_memory(halves(cells, TILE)) as names:
                copied_with_levels(plain.name, names, memory.name, options)
    return memory


def profile_of(grid: Place) -> dict[str, Any]:
    """Shape, numbers and place of a layer, as rasterio takes them."""
    return {
        "height": grid.rows, "width": grid.cols, "count": 1, "dtype": "float32", "nodata": float("nan"),
        "crs": rasterio.crs.CRS.from_wkt(flat_system(grid.crs).to_wkt()),
        "transform": rasterio.Affine(*grid.affine),
    }  # fmt: skip


def cog_options(overviews: str) -> dict[str, str | int]:
    """How every layer is stored."""
    made = {} if overviews == "max" else {"overview_resampling": overviews.upper()}  # those are our own
    stored: dict[str, str | int] = {"blocksize": TILE, "compress": "DEFLATE", "predictor": "FLOATING_POINT"}
    return stored | {"bigtiff": "IF_SAFER", "num_threads": "1"} | made


def describe(
    file: rasterio.io.DatasetWriter, grid: Place, unit: str, title: str, strips: Callable[[], Iterator[np.ndarray]]
) -> None:
    """Give a raster that is being written its title, unit and statistics; strips() gives its rows, TILE at a time."""
    file.set_band_description(1, title)
    file.set_band_unit(1, unit)
    file.update_tags(TIFFTAG_IMAGEDESCRIPTION=title, bearing_deg=f"{_bearing_deg(grid):.10g}")
    file.update_tags(1, **_statistics(strips, grid.rows * grid.cols))


def _bearing_deg(grid: Place) -> float:
    """Direction of the rows, west to east, clockwise from the system's own north [deg]."""
    return math.degrees(math.atan2(grid.affine[0], grid.affine[3])) % 360.0


def _statistics(strips: Callable[[], Iterator[np.ndarray]], cells: int) -> dict[str, str]:
    # By rows of tiles: one double-precision copy of all cells would take twice their memory.
    def blocks() -> Iterator[np.ndarray]:
        for block in strips():
            there = block[np.isfinite(block)].astype(np.float64)
            if there.size:
                yield there

    count = sum(block.size for block in blocks())
    share = {"STATISTICS_VALID_PERCENT": f"{100.0 * count / max(cells, 1):.4g}"}
    if not count:
        return share
    mean = math.fsum(float(block.sum()) for block in blocks()) / count
    variance = math.fsum(float(((block - mean) ** 2).sum()) for block in blocks()) / count
    numbers = {
        "MINIMUM": min(float(block.min()) for block in blocks()),
        "MAXIMUM": max(float(block.max()) for block in blocks()),
        "MEAN": mean,
        "STDDEV": math.sqrt(variance),
    }
    return {f"STATISTICS_{name}": repr(value) for name, value in numbers.items()} | share


def verify_cog(temp: Path, grid: Place, unit: str, same_cells: Callable[[rasterio.io.DatasetReader], None]) -> None:
    """Errors: OSError unless the file reads back in its place, whole, and `same_cells` finds nothing else in it."""
    with (
        rasterio.Env(GDAL_NUM_THREADS="1", GDAL_PAM_ENABLED="NO"),
        rasterio.open(temp, driver="GTiff") as file,
    ):
        if file.shape != grid.shape or not file.transform.almost_equals(rasterio.Affine(*grid.affine), 1e-9):
            raise OSError("read back, the raster lies elsewhere")
        if file.tags(ns="IMAGE_STRUCTURE").get("LAYOUT") != "COG":
            raise OSError("read back, the layout is not that of a Cloud Optimized GeoTIFF")
        if file.units[0] != unit or not np.isnan(file.nodata):
            raise OSError("read back, unit or no-data value differ")
        back = pyproj.CRS.from_wkt(file.crs.to_wkt()) if file.crs else None
        if back is None or not _same_place(back, flat_system(grid.crs), grid):
            raise OSError(f"the coordinate system {grid.crs.name!r} cannot be stored in a GeoTIFF unchanged")
        same_cells(file)
        for level in range(len(file.overviews(1))):
            with rasterio.open(temp, driver="GTiff", overview_level=level) as overview:
                for row in range(0, overview.height, TILE):  # an unreadable tile raises
                    overview.read(1, window=Window(0, row, overview.width, min(TILE, overview.height - row)))


def _same_place(back: pyproj.CRS, crs: pyproj.CRS, grid: Place) -> bool:
    """True if both systems have the same datum and put the grid's corners at the same longitude and
    latitude, to 1e-9 deg."""
    a, b, c, d, e, f = grid.affine
    col, row = np.array([0, grid.cols, 0, grid.cols]), np.array([0, 0, grid.rows, grid.rows])
    corners = (a * col + b * row + c, d * col + e * row + f)
    places, datums = [], []
    for one in (back, crs):
        geodetic = one.geodetic_crs
        if geodetic is None or geodetic.datum is None:
            return False
        places.append(np.array(transformer(one.to_wkt(), geodetic.to_wkt()).transform(*corners)))
        datums.append(geodetic.datum.name.removesuffix(" ensemble"))  # GeoTIFF knows no ensembles
    alike = back.ellipsoid == crs.ellipsoid and datums[0] == datums[1]
    return bool(alike and np.abs(places[0] - places[1]).max() < 1e-9)
