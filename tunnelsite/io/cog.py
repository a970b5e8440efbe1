"""Writes a layer as a Cloud Optimized GeoTIFF (OGC 21-026) and reads every cell back before it counts as written."""

from __future__ import annotations

import os
import warnings
from pathlib import Path

import numpy as np
import pyproj
import rasterio
from rasterio.windows import Window

from tunnelsite.core.grid import Grid, horizontal
from tunnelsite.io.staging import staged

TILE = 512
_OVERVIEWS = ("average", "nearest", "mode")
# rasterio turns most of GDAL's complaints into RasterioError, those at the final copy into a bare CPLE error
_DRIVER_ERRORS = (rasterio.errors.RasterioError, rasterio._err.CPLE_BaseError)


def write_cog(
    path: str | os.PathLike,
    values: np.ndarray,
    grid: Grid,
    *,
    unit: str,
    title: str,
    overwrite: bool,
    overviews: str = "average",
) -> None:
    """Writes a layer with its grid, unit and statistics as a Cloud Optimized GeoTIFF, whole or not at all.

    Values are stored as float32 (deflate, 512 x 512 tiles). A grid turned with the ridge keeps its rotation in the file's affine. The
    same input gives the same bytes with the same version of GDAL.

    Arguments: path; values [rows, cols] of any real dtype, NaN = no data; grid of the same shape; unit, as in `m`, `1`, `deg`; title, a
    few words; overwrite, whether an existing file may be replaced; overviews, how coarser copies are made: `average`, `nearest` (for
    angles that wrap, whose mean means nothing) or `mode` (for classes).
    Errors: OutputFailed if it cannot be written (what was there stays); ValueError for another shape, an infinite value or an unknown overview.
    """
    if np.shape(values) != grid.shape:
        raise ValueError(f"values are {np.shape(values)}, the grid is {grid.shape}")
    if overviews not in _OVERVIEWS:
        raise ValueError(f"overviews are {overviews!r}, not one of {', '.join(_OVERVIEWS)}")
    with np.errstate(over="ignore"):
        cells = np.ascontiguousarray(values, np.float32)
    if np.isinf(cells).any():
        raise ValueError(f"layer {title!r} holds a value that is infinite in single precision")

    def verify(temp: Path) -> None:
        _verify(temp, cells, grid, unit)

    # tiles at the edges are padded; overviews add a third; deflate of noise adds next to nothing
    padded = 4 * (-(-grid.rows // TILE) * TILE) * (-(-grid.cols // TILE) * TILE)
    need = min(padded, cells.nbytes + 4 * TILE * TILE) * 4 // 3 + 65_536
    with staged(path, overwrite=overwrite, need_bytes=need, verify=verify, driver_errors=_DRIVER_ERRORS) as temp:
        _write(temp, cells, grid, unit, title, overviews)


def _write(temp: Path, cells: np.ndarray, grid: Grid, unit: str, title: str, overviews: str) -> None:
    # One thread: with several, a tiled GeoTIFF hides that the disk is full. No .aux.xml: what the file cannot hold must fail the check.
    with rasterio.Env(GDAL_NUM_THREADS="1", GDAL_PAM_ENABLED="NO"), warnings.catch_warnings():
        warnings.simplefilter("error", rasterio.errors.NotGeoreferencedWarning)
        with rasterio.open(
            temp,
            "w",
            driver="COG",
            height=grid.rows,
            width=grid.cols,
            count=1,
            dtype="float32",
            nodata=float("nan"),
            crs=rasterio.crs.CRS.from_wkt(_flat(grid).to_wkt()),
            transform=rasterio.Affine(*grid.affine),
            blocksize=TILE,
            compress="DEFLATE",
            predictor="FLOATING_POINT",
            overview_resampling=overviews.upper(),
            bigtiff="IF_SAFER",
            num_threads="1",
        ) as file:
            file.write(cells, 1)
            file.set_band_description(1, title)
            file.set_band_unit(1, unit)
            file.update_tags(TIFFTAG_IMAGEDESCRIPTION=title, bearing_deg=f"{grid.bearing_deg:.10g}")
            file.update_tags(1, **_statistics(cells))


def _statistics(cells: np.ndarray) -> dict[str, str]:
    there = cells[np.isfinite(cells)].astype(np.float64)
    share = {"STATISTICS_VALID_PERCENT": f"{100.0 * there.size / max(cells.size, 1):.4g}"}
    if not there.size:
        return share
    numbers = {"MINIMUM": there.min(), "MAXIMUM": there.max(), "MEAN": there.mean(), "STDDEV": there.std()}
    return {f"STATISTICS_{name}": repr(float(value)) for name, value in numbers.items()} | share


def _verify(temp: Path, cells: np.ndarray, grid: Grid, unit: str) -> None:
    with rasterio.Env(GDAL_NUM_THREADS="1", GDAL_PAM_ENABLED="NO"), rasterio.open(temp, driver="GTiff") as file:
        if file.shape != grid.shape or not file.transform.almost_equals(rasterio.Affine(*grid.affine), 1e-9):
            raise OSError("read back, the raster lies elsewhere")
        if file.tags(ns="IMAGE_STRUCTURE").get("LAYOUT") != "COG":
            raise OSError("read back, the layout is not that of a Cloud Optimized GeoTIFF")
        if file.units[0] != unit or not np.isnan(file.nodata):
            raise OSError("read back, unit or no-data value differ")
        back = pyproj.CRS.from_wkt(file.crs.to_wkt()) if file.crs else None
        if back is None or not _same_place(back, _flat(grid), grid):
            raise OSError(f"the coordinate system {grid.crs.name!r} cannot be stored in a GeoTIFF unchanged")
        for row in range(0, grid.rows, TILE):
            window = Window(0, row, grid.cols, min(TILE, grid.rows - row))
            if not np.array_equal(file.read(1, window=window), cells[row : row + TILE], equal_nan=True):
                raise OSError(f"read back, the cells from row {row} on differ from what was written")
        for level in range(len(file.overviews(1))):
            with rasterio.open(temp, driver="GTiff", overview_level=level) as overview:
                for row in range(0, overview.height, TILE):  # an unreadable tile raises
                    overview.read(1, window=Window(0, row, overview.width, min(TILE, overview.height - row)))


def _same_place(back: pyproj.CRS, crs: pyproj.CRS, grid: Grid) -> bool:
    """True if the corners of the grid have the same longitude and latitude in both systems, to 1e-9 deg (0.1 mm)."""
    west, south, east, north = grid.bounds
    easting, northing = grid.to_map(np.array([west, east, west, east]), np.array([south, south, north, north]))
    places = [
        np.array(pyproj.Transformer.from_crs(one, one.geodetic_crs, always_xy=True).transform(easting, northing))
        for one in (back, crs)
    ]
    alike = back.geodetic_crs.ellipsoid == crs.geodetic_crs.ellipsoid and back.datum.name == crs.datum.name
    return bool(alike and np.abs(places[0] - places[1]).max() < 1e-9)


def _flat(grid: Grid) -> pyproj.CRS:
    return horizontal(grid.crs).to_2d()
