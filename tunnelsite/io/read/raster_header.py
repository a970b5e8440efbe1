"""What a raster says of itself before any cell is read."""

from __future__ import annotations

import os
import warnings
from collections.abc import Iterator
from contextlib import contextmanager, nullcontext
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pyproj
import rasterio
from rasterio._err import CPLE_BaseError  # not public, but header fields of a damaged file do raise it
from rasterio.enums import ColorInterp, MaskFlags
from rasterio.errors import NotGeoreferencedWarning, RasterioError

from tunnelsite.core.errors import InputRefused
from tunnelsite.core.grid import horizontal
from tunnelsite.core.layers import Affine
from tunnelsite.io.plain_names import plainly_named, without_link
from tunnelsite.io.read.drivers import raster_driver
from tunnelsite.io.read.files import FileStamp, checked_file, file_stamp
from tunnelsite.io.read.georeferencing import crs_words, georeferencing
from tunnelsite.io.read.tiff_tags import check_upright

READING_ERRORS = (RasterioError, CPLE_BaseError, ValueError, OSError)
MOST_BANDS = 1000
DEGREE_M = 111_320.0  # of latitude
LEAST_CELL_M = 1e-3  # a thousandth of what any elevation model has
LEAST_CELLS = 3  # rows and columns; a slope needs a 3 x 3 window
# Without Float64 the ASCII driver takes a grid whose first lines hold whole numbers for whole numbers
# throughout.
_OPEN_OPTIONS = {"GTiff": {"NUM_THREADS": "ALL_CPUS"}, "AAIGrid": {"DATATYPE": "Float64"}, "EHdr": {}, "SAGA": {}}


@dataclass(frozen=True)
class Band:
    """One band as the header describes it.

    Attributes:
        title: the file's own words or ``. dtype: of the stored numbers. nodata: declared value or None.
        scale, offset: stored number to height. unit: as it is written. colour: what the band shows, such
            as `gray` or `alpha`.
        masked: a mask or alpha band goes with it.
    """

    title: str
    dtype: str
    nodata: float | None
    scale: float
    offset: float
    unit: str
    colour: str
    masked: bool


@dataclass(frozen=True)
class RasterHeader:
    """A raster file: where it lies, what it holds, how it is stored.

    Attributes:
        path, option: the file and where it was given. driver: the only one that may open it.
        crs: horizontal coordinate system. vertical_unit: `m`, `ft`, `us-ft` from its vertical part, or ``.
        affine: (a, b, c, d, e, f) to map coordinates of outer corners of cells, as stored.
        rows, cols: shape. block: (rows, cols) stored together. bands: one description each.
        stamp: the file as it was. notes: what was found or assumed.
    """

    path: Path
    option: str
    driver: str
    crs: pyproj.CRS
    vertical_unit: str
    affine: tuple[float, float, float, float, float, float]
    rows: int
    cols: int
    block: tuple[int, int]
    bands: tuple[Band, ...]
    stamp: FileStamp
    notes: tuple[str, ...] = ()

    @property
    def shape(self) -> tuple[int, int]:
        """(rows, cols)."""
        return self.rows, self.cols

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """(west, south, east, north) in the raster's coordinate system; of the box around it where it is
        turned."""
        a, b, c, d, e, f = self.affine
        corners = [(row, col) for row in (0, self.rows) for col in (0, self.cols)]
        east = [a * col + b * row + c for row, col in corners]
        north = [d * col + e * row + f for row, col in corners]
        return min(east), min(north), max(east), max(north)


def raster_header(path: str | os.PathLike[str], option: str = "DEM", crs: str | None = None) -> RasterHeader:
    """The header of a raster of heights.

    Arguments: path; option [words], where it was given; crs, its coordinate system where the file states
        none, or a wrong one.
    Errors: UsageError for text that is no path or no coordinate system; InputRefused for a file that is
        missing, damaged, of another kind, without coordinate system or place, or under 3 x 3 cells.
    """
    found = checked_file(path, option)
    driver, stamp = raster_driver(found, option), file_stamp(found)
    if driver == "GTiff":
        check_upright(found, option)
    with reading(found, option), opened(found, driver) as source:
        place = georeferencing(source, found, option, crs)
        bands = _bands(source, found, option)
        rows, cols = source.shape
        block = source.block_shapes[0]
    _check_cells(found, option, horizontal(place.crs), place.affine)
    if min(rows, cols) < LEAST_CELLS:
        raise InputRefused(
            f"{option}: {found.name!r} has {rows} rows and {cols} columns",
            f"at least {LEAST_CELLS} of each, because a slope needs neighbours",
            "give a DEM that covers the parcels and their surroundings",
        )
    return RasterHeader(
        found, option, driver, horizontal(place.crs), place.vertical_unit, place.affine,
        rows, cols, block, bands, stamp, place.notes,
    )  # fmt: skip


def _check_cells(path: Path, option: str, crs: pyproj.CRS, affine: Affine) -> None:
    """Errors: InputRefused for cells that no survey has: degrees that are labelled as metres, most likely."""
    unit_m = DEGREE_M if crs.is_geographic else crs.axis_info[0].unit_conversion_factor if crs.axis_info else 1.0
    a, b, c, d, e, f = affine
    side_m = min(np.hypot(a, d), np.hypot(b, e)) * unit_m
    if side_m >= LEAST_CELL_M:
        return
    degrees = not crs.is_geographic and abs(c) <= 360 and abs(f) <= 90
    fix = (
        "if they are degrees, state the system that it is really in"
        if degrees
        else "assign the right coordinate system"
    )
    raise InputRefused(
        f"{option}: {path.name!r} has cells of {side_m:.2g} m in {crs.name!r}, its corner at {c:.6g}, {f:.6g}",
        f"cells of {LEAST_CELL_M:g} m or more",
        f"{fix} ({crs_words(option)})",
    )


def safe_environment() -> rasterio.Env:
    """GDAL settings under which nothing but the file itself is read and no code in it is run."""
    return rasterio.Env(
        GDAL_VRT_ENABLE_PYTHON="NO",  # above the user's environment, which may say YES
        GDAL_DISABLE_READDIR_ON_OPEN="EMPTY_DIR",  # no masks beside it, which any driver might open
        GDAL_CACHEMAX=256,  # MB; every cell is read once, so that a twentieth of the machine's memory would be wasted
        GDAL_PAM_ENABLED="NO",  # no settings from .aux.xml, none written there
    )


@contextmanager
def opened(path: Path, driver: str) -> Iterator[rasterio.DatasetReader]:
    """The raster, open for reading by one driver; only inside `reading`."""
    with plainly_named(path, driver) as link, warnings.catch_warnings():
        warnings.simplefilter("ignore", NotGeoreferencedWarning)  # judged, in our own words, by `georeferencing`
        # one driver finds its header by listing the folder, which is ours and holds nothing but the file and its parts
        listing = rasterio.Env(GDAL_DISABLE_READDIR_ON_OPEN="FALSE") if driver == "EHdr" else nullcontext()
        with listing:
            source = rasterio.open(link, driver=driver, sharing=False, **_OPEN_OPTIONS[driver])
    with source:  # open as it is, it needs no name any more; a worker that is killed while it reads leaves no link
        yield source


@contextmanager
def reading(path: Path, option: str) -> Iterator[None]:
    """GDAL kept to the file itself, and whatever it raises turned into InputRefused."""
    try:
        with safe_environment():
            yield
    except READING_ERRORS as error:
        raise InputRefused(
            f"{option}: {path.name!r} cannot be opened; it is damaged or cut off ({without_link(str(error))})",
            "a whole raster",
            "copy or download it again",
        ) from error


def _bands(source: rasterio.DatasetReader, path: Path, option: str) -> tuple[Band, ...]:
    if source.count > MOST_BANDS:  # a damaged header may claim tens of thousands
        raise InputRefused(
            f"{option}: {path.name!r} claims {source.count} bands",
            f"at most {MOST_BANDS}",
            "give a raster of heights",
        )
    columns = zip(
        source.descriptions, source.dtypes, source.nodatavals, source.scales, source.offsets, source.units,
        source.colorinterp, source.mask_flag_enums, strict=True,
    )  # fmt: skip
    return tuple(
        Band(
            title=title or "",
            dtype=dtype,
            nodata=nodata,
            scale=scale,
            offset=offset,
            unit=unit or "",
            colour="" if colour == ColorInterp.undefined else colour.name,
            masked=MaskFlags.per_dataset in flags or MaskFlags.alpha in flags,
        )
        for title, dtype, nodata, scale, offset, unit, colour, flags in columns
    )
