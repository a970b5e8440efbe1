"""A window of a GeoTIFF on a server, read by its parts and written as an ordinary file with everything its numbers mean."""

from __future__ import annotations

import contextlib
import math
import warnings
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import rasterio
from rasterio import Affine
from rasterio.errors import NotGeoreferencedWarning, RasterioError
from rasterio.windows import Window

from tunnelsite.core.errors import InputRefused
from tunnelsite.core.grid import transformer
from tunnelsite.io.fetch.ranged import RangedFile
from tunnelsite.io.read.raster_header import safe_environment
from tunnelsite.io.write.staging import staged

MOST_CELLS = 400_000_000
_NAME = "fetched.tif"  # the only name the driver ever hears
_KEPT_TAGS = ("AREA_OR_POINT", "TIFFTAG_COPYRIGHT", "TIFFTAG_DATETIME", "VERTICAL_DATUM")


@dataclass(frozen=True)
class Area:
    """A part of the earth: (west, south, east, north) in degrees (WGS 84)."""

    west_deg: float
    south_deg: float
    east_deg: float
    north_deg: float

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """(west, south, east, north)."""
        return self.west_deg, self.south_deg, self.east_deg, self.north_deg

    def bounds_in(self, crs_wkt: str) -> tuple[float, float, float, float]:
        """The box round it in another system, edges densified."""
        return transformer("EPSG:4326", crs_wkt).transform_bounds(*self.bounds, densify_pts=41)


@dataclass(frozen=True)
class Fetched:
    """A window in memory: cells as stored [bands, rows, cols], the profile that stores them again, what they mean.

    Attributes:
        cells; profile, as rasterio takes it; units, scales, offsets, titles by band; tags of the file.
        address: where it came from. size: of the whole file [bytes].
    """

    cells: np.ndarray
    profile: dict[str, Any]
    units: tuple[str, ...]
    scales: tuple[float, ...]
    offsets: tuple[float, ...]
    titles: tuple[str, ...]
    tags: dict[str, str]
    address: str
    size: int

    @property
    def lattice(self) -> tuple[object, ...]:
        """What two windows must share to be put together."""
        return self.profile["crs"], self.profile["dtype"], self.profile["nodata"], self.units, self.scales, self.offsets


def fetched_window(file: RangedFile, area: Area) -> Fetched | None:
    """The whole cells of a GeoTIFF that cover an area, at its own resolution; None where it does not reach the area.

    Errors: InputRefused for a file that is no GeoTIFF, has no place, is too large for the window asked, or breaks off.
    """
    try:
        with _opened(file, file.address) as source:
            return _read(source, file, file.address, area)
    finally:
        file.forget()


@contextlib.contextmanager
def _opened(file: RangedFile, address: str) -> Iterator[rasterio.DatasetReader]:
    """The GeoTIFF, by one driver, which sees this one file and nothing beside it. Errors: InputRefused."""

    def opener(name: str, mode: str = "rb") -> RangedFile:
        if not name.endswith(_NAME):
            raise FileNotFoundError(name)
        return file.again()

    try:
        with safe_environment(), warnings.catch_warnings():
            warnings.simplefilter("ignore", NotGeoreferencedWarning)
            with rasterio.open(_NAME, driver="GTiff", opener=opener, sharing=False) as source:
                yield source
    except RasterioError as problem:
        if file.failed:
            raise file.failed[0] from problem
        raise InputRefused(
            f"{address[:200]!r} cannot be read as a GeoTIFF ({str(problem)[:200]})",
            "a GeoTIFF, best a cloud-optimized one",
            "download it, convert it, and name the copy",
        ) from problem


def _read(source: rasterio.DatasetReader, file: RangedFile, address: str, area: Area) -> Fetched | None:
    if source.crs is None:
        raise InputRefused(
            f"{address[:200]!r} names no coordinate system", "a georeferenced raster", "download it and use --dem-crs"
        )
    window = _window(source, area)
    if window is None:
        return None
    if window.width * window.height * source.count > MOST_CELLS:
        raise InputRefused(
            f"{address[:200]!r} has {window.width} x {window.height} cells there",
            f"at most {MOST_CELLS} cells",
            "take a smaller circle or a coarser source",
        )
    cells = source.read(window=window)
    if file.failed:  # GDAL may fill what it could not read
        raise file.failed[0]
    profile = {
        "driver": "GTiff", "width": window.width, "height": window.height, "count": source.count,
        "dtype": source.dtypes[0], "nodata": source.nodata, "crs": source.crs,
        "transform": source.window_transform(window),
    }  # fmt: skip
    words = [text or "" for text in source.descriptions], [text or "" for text in source.units]
    tags = {name: text for name, text in source.tags().items() if name in _KEPT_TAGS}
    return Fetched(
        cells, profile, tuple(words[1]), source.scales, source.offsets, tuple(words[0]), tags, address, file.size
    )


def window_bytes(file: RangedFile, area: Area) -> int:
    """About how many bytes `fetched_window` would fetch, from the header alone; 0 where the file does not reach the area."""
    with _opened(file, file.address) as source:
        window = _window(source, area)
        cells = source.width * source.height
        return 0 if window is None else math.ceil(file.size * min(1.0, window.width * window.height / cells))


def _window(source: rasterio.DatasetReader, area: Area) -> Window | None:
    west, south, east, north = area.bounds_in(source.crs.to_wkt())
    inverse = ~source.transform
    corners = [put_through(inverse, x, y) for x in (west, east) for y in (south, north)]
    left, right = (limit(col for col, _ in corners) for limit in (min, max))
    top, bottom = (limit(row for _, row in corners) for limit in (min, max))
    left, top = max(0, math.floor(left)), max(0, math.floor(top))
    right, bottom = min(source.width, math.ceil(right)), min(source.height, math.ceil(bottom))
    if left >= right or top >= bottom:
        return None
    return Window(left, top, right - left, bottom - top)


def put_through(transform: Affine, x: float, y: float) -> tuple[float, float]:
    """Where an affine transform puts a point: written out, since not every version of `affine` has the same operator for it."""
    return transform.a * x + transform.b * y + transform.c, transform.d * x + transform.e * y + transform.f


def moved(transform: Affine, right: float, down: float) -> Affine:
    """The transform of a raster whose first cell is so many columns and rows further on."""
    a, b, _, d, e, _ = tuple(transform)[:6]
    west, north = put_through(transform, right, down)
    return Affine(a, b, west, d, e, north)


def write_window(path: Path, found: Fetched, *, tags: dict[str, str], overwrite: bool) -> None:
    """Write a window as a tiled GeoTIFF with units, scales and words; read back before it counts. Errors: OutputFailed."""
    profile = found.profile | {"tiled": True, "blockxsize": 256, "blockysize": 256, "compress": "deflate"}

    def verify(temp: Path) -> None:
        with rasterio.open(temp, driver="GTiff") as back:
            if not np.array_equal(back.read(), found.cells, equal_nan=found.cells.dtype.kind == "f"):
                raise OSError("what was read back differs from what was written")

    need = found.cells.nbytes + 100_000
    with (
        rasterio.Env(GDAL_PAM_ENABLED="NO"),
        staged(path, overwrite=overwrite, need_bytes=need, verify=verify, driver_errors=(RasterioError,)) as temp,
        rasterio.open(temp, "w", **profile) as file,
    ):
        file.write(found.cells)
        file.scales, file.offsets = found.scales, found.offsets
        file.update_tags(**found.tags, **tags)
        for band, (unit, title) in enumerate(zip(found.units, found.titles, strict=True), 1):
            if unit:
                file.set_band_unit(band, unit)
            if title:
                file.set_band_description(band, title)
