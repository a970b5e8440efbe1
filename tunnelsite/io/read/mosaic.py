"""One DEM in many files: tiles of one lattice, read as if they were one raster."""

from __future__ import annotations

import hashlib
import math
import os
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from rasterio.windows import Window

from tunnelsite.core.errors import InputRefused
from tunnelsite.core.layers import Affine, Part, SourceRaster, cells_at
from tunnelsite.io.read.cells import stored_cells
from tunnelsite.io.read.files import sha256
from tunnelsite.io.read.named_tiles import NamedTile, is_vrt, named_tiles
from tunnelsite.io.read.raster_header import RasterHeader, opened, raster_header, reading
from tunnelsite.io.read.rasters import heights_of, north_up_affine, numbers_of, unchanged
from tunnelsite.io.read.tile_edges import boxes_of, edge_notes, edge_step

ENDINGS = (".tif", ".tiff", ".asc")
OFF_LATTICE_CELLS = 1e-3  # tiles may lie this far off their common lattice


@dataclass(frozen=True)
class Mosaic:
    """Tiles of one raster.

    Attributes:
        whole: header of the raster that the tiles make up. tiles: their headers, by name.
        places: (row, col) of each tile's first cell in the whole. sha256: of the only file, or of all names and digests.
    """

    whole: RasterHeader
    tiles: tuple[RasterHeader, ...]
    places: tuple[tuple[int, int], ...]
    sha256: str


def mosaic(path: str, option: str = "DEM", crs: str | None = None) -> Mosaic:
    """The tiles of a folder (every .tif, .tiff and .asc in it, in the order of their names) or of a VRT, or one file.

    Arguments: path; option [words], where it was given; crs, where the files state none.
    Errors: InputRefused for an empty folder and for tiles that differ in coordinate system, cell, numbers or no-data value, or
    do not lie on one lattice (no-data values of floating point may differ); else as `raster_header`.
    """
    folder = Path(path)
    if not has_tiles(path):
        return mosaic_of([raster_header(path, option, crs=crs)], folder)
    listed = None if folder.is_dir() else named_tiles(folder, option)
    listed = listed and listed[::-1]  # what a VRT names last lies on top
    files = [tile.path for tile in listed] if listed else _files_of(folder, option)
    headers = tuple(raster_header(str(file), option, crs=crs) for file in files)
    made = mosaic_of(headers, folder)
    if listed:
        _check_shown_there(listed, headers, made.places, f"{option}: {folder.name!r}")
    return made


def mosaics(path: str, option: str = "DEM", crs: str | None = None) -> tuple[Mosaic, ...]:
    """The rasters that the tiles of a folder make up, one for each coordinate system among them; of anything else the only one.

    Arguments and errors: as `mosaic`, but that tiles may differ in coordinate system.
    """
    folder = Path(path)
    if not folder.is_dir():
        return (mosaic(path, option, crs),)
    by_system: dict[str, list[RasterHeader]] = {}
    for file in _files_of(folder, option):
        header = raster_header(str(file), option, crs=crs)
        by_system.setdefault(header.crs.to_wkt(), []).append(header)
    return tuple(mosaic_of(some, folder) for some in by_system.values())


def mosaic_of(headers: Sequence[RasterHeader], path: Path) -> Mosaic:
    """Files as one raster. Arguments: headers, one or more; path, by which the whole of several is called. Errors: as `mosaic`."""
    first = headers[0]
    if len(headers) == 1:
        return Mosaic(first, (first,), ((0, 0),), sha256(first.path))
    for header in headers[1:]:
        _check_alike(first, header)
    places, affine, shape = _lattice(headers)
    digest = hashlib.sha256()
    for header in headers:
        digest.update(os.fsencode(header.path.name) + f"\0{sha256(header.path)}\n".encode())
    whole = replace(
        first, path=path, affine=affine, rows=shape[0], cols=shape[1],
        notes=(f"{len(headers)} tiles read as one raster", *dict.fromkeys(n for h in headers for n in h.notes)),
    )  # fmt: skip
    return Mosaic(_with_common_nodata(whole, headers), tuple(headers), places, digest.hexdigest())


def has_tiles(path: str) -> bool:
    """Whether a path is that of several files: a folder, or a VRT."""
    return Path(path).is_dir() or is_vrt(Path(path))


def files_of(path: str, option: str = "DEM") -> list[Path]:
    """The files that a path names, what lies on top first. Errors: InputRefused as `mosaic`."""
    place = Path(path)
    if not has_tiles(path):
        return [place]
    return _files_of(place, option) if place.is_dir() else [tile.path for tile in named_tiles(place, option)[::-1]]


def _files_of(folder: Path, option: str) -> list[Path]:
    files = sorted(
        file for file in folder.iterdir() if file.suffix.lower() in ENDINGS and not file.name.startswith(".")
    )
    if not files:
        raise InputRefused(
            f"{option}: folder {folder} holds no raster",
            f"files that end in {', '.join(ENDINGS)}",
            "name another folder",
        )
    return files


def _check_shown_there(
    listed: list[NamedTile], headers: Sequence[RasterHeader], places: Sequence[tuple[int, int]], where: str
) -> None:
    """Errors: InputRefused where a VRT shows a tile elsewhere than its own georeferencing puts it."""
    first_shown, first = listed[0].place, places[0]
    for tile, header, place in zip(listed, headers, places, strict=True):
        shown = (tile.place[0] - first_shown[0], tile.place[1] - first_shown[1])
        if shown != (place[0] - first[0], place[1] - first[1]) or tile.shape != header.shape:
            raise InputRefused(
                f"{where} shows {tile.path.name!r} elsewhere, or in another size, than the file itself says",
                "tiles in their own places",
                "write it out once: gdal_translate -of COG in.vrt dem.tif",
            )


def _nodata(header: RasterHeader) -> tuple[object, ...]:
    return tuple("nan" if b.nodata is not None and math.isnan(b.nodata) else b.nodata for b in header.bands)


def _with_common_nodata(whole: RasterHeader, headers: Sequence[RasterHeader]) -> RasterHeader:
    """The whole's header; where tiles declare different no-data values, NaN stands for each tile's own."""
    found = list(dict.fromkeys(map(_nodata, headers)))
    if len(found) == 1:
        return whole
    said = ", ".join("/".join("none" if value is None else str(value) for value in values) for values in found)
    note = f"tiles declare different no-data values ({said}): each tile's own was used"
    return replace(whole, bands=tuple(replace(b, nodata=math.nan) for b in whole.bands), notes=(*whole.notes, note))


def _check_alike(first: RasterHeader, other: RasterHeader) -> None:
    def properties(header: RasterHeader) -> dict[str, object]:
        steps = [header.affine[k] for k in (0, 1, 3, 4)]
        bands = [(b.dtype, b.scale, b.offset, b.unit) for b in header.bands]
        return {
            "cells": tuple(float(f"{step:.9g}") for step in steps),
            "numbers and units": (bands, header.vertical_unit),
        } | (
            # numbers of floating point can all say NaN, whole numbers cannot
            {} if all(np.dtype(b.dtype).kind == "f" for b in header.bands) else {"no-data values": _nodata(header)}
        )

    if first.crs != other.crs:
        raise _unlike(first, other, "coordinate systems", first.crs.name, other.crs.name)
    one, two = properties(first), properties(other)
    for what, value in one.items():
        if value != two[what]:
            raise _unlike(first, other, what, value, two[what])


def _unlike(first: RasterHeader, other: RasterHeader, what: str, one: object, two: object) -> InputRefused:
    return InputRefused(
        f"{first.option}: the {what} of {first.path.name!r} and {other.path.name!r} differ: {one} and {two}",
        "tiles of one raster",
        "warp them to one lattice, or run them one by one",
    )


def _lattice(headers: Sequence[RasterHeader]) -> tuple[tuple[tuple[int, int], ...], Affine, tuple[int, int]]:
    """(row, col) of each tile in the whole, the whole's affine and shape. Errors: InputRefused off the lattice."""
    a, b, c, d, e, f = headers[0].affine
    at = []
    for header in headers:
        col, row = cells_at(headers[0].affine, header.affine[2], header.affine[5])
        if max(abs(col - round(col)), abs(row - round(row))) > OFF_LATTICE_CELLS:
            raise _unlike(headers[0], header, "lattices", "whole cells apart", f"{row:.3f} rows, {col:.3f} columns")
        at.append((round(row), round(col)))
    top, left = min(row for row, _ in at), min(col for _, col in at)
    rows = max(row + h.rows for (row, _), h in zip(at, headers, strict=True)) - top
    cols = max(col + h.cols for (_, col), h in zip(at, headers, strict=True)) - left
    affine = (a, b, a * left + b * top + c, d, e, d * left + e * top + f)
    return tuple((row - top, col - left) for row, col in at), affine, (rows, cols)


def read_mosaic(
    tiles: Mosaic,
    bounds: tuple[float, float, float, float] | None,
    *,
    vertical_unit: str | None = None,
    band: int | None = None,
    zero_is_nodata: bool | None = None,
) -> SourceRaster:
    """The heights of a mosaic or a part of it; the same cells as from one file, whatever the tiles.

    Where tiles overlap the first by name that holds data is used. Arguments and errors: as `rasters.read_raster`.
    """
    apart: list[float] = []
    corner: list[tuple[int, int]] = []

    def cells(index: int, window: Window) -> tuple[np.ndarray, list[Part], str]:
        stored, empty, worst = joined(tiles, index, window)
        apart.append(worst)
        corner.append((window.row_off, window.col_off))
        return stored, empty, tiles.sha256

    found = heights_of(
        tiles.whole, cells, bounds=bounds, vertical_unit=vertical_unit, band=band, zero_is_nodata=zero_is_nodata
    )
    _, over, along = north_up_affine(tiles.whole.shape, tiles.whole.affine)
    as_stored = found.values[:: -1 if over else 1, :: -1 if along else 1]
    step = edge_step(as_stored, boxes_of(tiles.places, [tile.shape for tile in tiles.tiles], corner[0]))
    steps = edge_notes(step, [tile.path.name for tile in tiles.tiles])
    return replace(found, notes=(*found.notes, *apart_notes(tiles, max(apart)), *steps))


def read_numbers(tiles: Mosaic, bounds: tuple[float, float, float, float] | None) -> SourceRaster:
    """The numbers of a mosaic that are no heights, or of a part of it. Arguments and errors: as `rasters.values_of`."""
    return numbers_of(tiles.whole, lambda index, window: (*joined(tiles, index, window)[:2], tiles.sha256), bounds)


def apart_notes(tiles: Mosaic, worst: float) -> tuple[str, ...]:
    """The note on tiles that overlap and differ there by up to `worst` [stored numbers]."""
    if worst <= 0:
        return ()
    return (f"tiles of {tiles.whole.path.name} overlap and differ there by up to {worst:g}: the first by name is used",)


def joined(tiles: Mosaic, index: int, window: Window) -> tuple[np.ndarray, list[Part], float]:
    """Stored cells of a window of the whole, the parts that no tile holds, and by how much overlapping tiles differ at most."""
    first = tiles.whole.bands[index - 1]
    stored = np.zeros((window.height, window.width), first.dtype)
    if first.nodata is not None:
        stored[:] = first.nodata
    known = np.zeros(stored.shape, bool)
    worst = 0.0
    for header, (row, col) in zip(tiles.tiles, tiles.places, strict=True):
        top, left = max(row, window.row_off), max(col, window.col_off)
        bottom = min(row + header.rows, window.row_off + window.height)
        right = min(col + header.cols, window.col_off + window.width)
        if top >= bottom or left >= right:
            continue
        part, held = _tile_part(header, index, Window(left - col, top - row, right - left, bottom - top))
        if part.dtype.kind == "f" and first.nodata is not None and math.isnan(first.nodata):
            part[~held] = np.nan  # whatever this tile says instead
        where = np.s_[top - window.row_off : bottom - window.row_off, left - window.col_off : right - window.col_off]
        twice = held & known[where]
        if twice.any():
            apart = np.abs(part[twice].astype(np.float64) - stored[where][twice].astype(np.float64))
            worst = max(worst, float(apart.max()))
        free = ~known[where]
        stored[where][free] = part[free]  # with the no-data value too, as one file would have it
        known[where] |= held
    return stored, [~known], worst


def near(tiles: Mosaic, window: Window) -> Mosaic:
    """The same with only the tiles that hold any of a window: what is sent to a worker stays small."""
    bottom, right = window.row_off + window.height, window.col_off + window.width
    kept = [
        k
        for k, (header, (row, col)) in enumerate(zip(tiles.tiles, tiles.places, strict=True))
        if row < bottom and col < right and row + header.rows > window.row_off and col + header.cols > window.col_off
    ]
    return replace(tiles, tiles=tuple(tiles.tiles[k] for k in kept), places=tuple(tiles.places[k] for k in kept))


def _tile_part(header: RasterHeader, index: int, window: Window) -> tuple[np.ndarray, np.ndarray]:
    """Stored cells of a window of one tile, and which of them hold data. Errors: InputRefused if the file has changed."""
    if not unchanged(header):
        raise InputRefused(
            f"{header.option}: {header.path.name!r} has changed since the run began", "files at rest", "run again"
        )
    with reading(header.path, header.option), opened(header.path, header.driver) as source:
        part, empty = stored_cells(source, header, index, window)
    held = np.ones(part.shape, bool)
    for expression in empty:
        held[expression] = False
    nodata = header.bands[index - 1].nodata
    if part.dtype.kind == "f":
        held &= ~np.isnan(part)
    if nodata is not None and not math.isnan(nodata):
        held &= part != (part.dtype.type(nodata) if part.dtype.kind == "f" else nodata)
    return part, held
