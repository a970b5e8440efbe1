"""Reading a DEM or surface: a window of it, in metres, with everything doubtful refused or noted."""

from __future__ import annotations

import math
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from rasterio.windows import Window

from tunnelsite.core.errors import InputRefused, UsageError
from tunnelsite.core.layers import Affine, Part, SourceRaster, cells_at
from tunnelsite.core.units import VERTICAL_UNITS_M
from tunnelsite.io.read.cells import stored_cells
from tunnelsite.io.read.files import file_name, require_memory, same_file, sha256
from tunnelsite.io.read.gathered import gathered_words
from tunnelsite.io.read.georeferencing import unit_used
from tunnelsite.io.read.heights import StoredHeights, heights
from tunnelsite.io.read.raster_header import RasterHeader, opened, raster_header, reading
from tunnelsite.io.read.unit_questions import ask_unit

__all__ = ["check_has_data", "heights_of", "raster_header", "read_raster", "unchanged"]


def read_raster(
    header: RasterHeader,
    *,
    bounds: tuple[float, float, float, float] | None = None,
    vertical_unit: str | None = None,
    band: int | None = None,
    zero_is_nodata: bool | None = None,
) -> SourceRaster:
    """The heights of a raster, or of the whole cells that cover a part of it.

    Arguments:
        header: from `raster_header`. bounds: (west, south, east, north) in the raster's coordinate system,
            clipped to it.
        vertical_unit: `m`, `ft`, `us-ft`, `dm` or `cm`, above what the file says. band: number from 1, needed where
            there are several.
        zero_is_nodata: whether heights of exactly 0 are voids; None drops them only where no other height
            is near 0.
    Returns: the heights with row 0 in the north and column 0 in the west, unless the raster is turned.
    Errors: UsageError for a band or unit that does not exist or must be chosen; InputRefused for damaged
        cells, no overlap, a file that has changed, or heights whose unit must be asked for;
        ResourceShortage, before any cell is read, where they would not fit in memory.
    """
    return heights_of(
        header,
        lambda index, window: _cells_and_digest(header, index, window),
        bounds=bounds,
        vertical_unit=vertical_unit,
        band=band,
        zero_is_nodata=zero_is_nodata,
    )


def heights_of(
    header: RasterHeader,
    cells: Callable[[int, Window], tuple[np.ndarray, list[Part], str]],
    *,
    bounds: tuple[float, float, float, float] | None,
    vertical_unit: str | None,
    band: int | None,
    zero_is_nodata: bool | None,
) -> SourceRaster:
    """As `read_raster`, the cells coming from elsewhere: cells(band number, window) gives the stored cells [rows, cols], index
    expressions of the parts without data, and the SHA-256 of what was read."""
    rules = height_rules(header, vertical_unit, band, zero_is_nodata)
    window = _window(header, bounds)
    _require_room(header, window, np.dtype(header.bands[rules.band - 1].dtype).itemsize)
    stored, empty, digest = cells(rules.band, window)
    values, datum_m, void_notes = heights(stored, rules.stored, empty)
    values, affine = _north_up(values, _shifted(header.affine, window))
    came_from = gathered_words(header.path, digest)
    notes = (*rules.notes, *void_notes, *([came_from] if came_from else []))
    return SourceRaster(values, affine, header.crs, datum_m, file_name(header.path), digest, rules.unit, notes)


def values_of(
    header: RasterHeader, bounds: tuple[float, float, float, float] | None = None, band: int | None = None
) -> SourceRaster:
    """The numbers of a raster that are no heights, as the file scales them, of the cells that cover `bounds`.

    Arguments and errors: as `read_raster`.
    """
    return numbers_of(header, lambda index, window: _cells_and_digest(header, index, window), bounds, band)


def numbers_of(
    header: RasterHeader,
    cells: Callable[[int, Window], tuple[np.ndarray, list[Part], str]],
    bounds: tuple[float, float, float, float] | None,
    band: int | None = None,
) -> SourceRaster:
    """As `values_of`, the cells coming from elsewhere, as of `heights_of`."""
    index = _chosen_band(header, band, palette=True)
    chosen, window = header.bands[index - 1], _window(header, bounds)
    _require_room(header, window, np.dtype(chosen.dtype).itemsize)
    stored, empty, digest = cells(index, window)
    values = (stored * np.float64(chosen.scale) + chosen.offset).astype(np.float32)
    if chosen.nodata is not None:
        values[stored == chosen.nodata] = np.nan
    values[~np.isfinite(values)] = np.nan
    for part in empty:
        values[part] = np.nan
    values, affine = _north_up(values, _shifted(header.affine, window))
    came_from = gathered_words(header.path, digest)
    notes = (came_from,) if came_from else ()
    return SourceRaster(values, affine, header.crs, 0.0, file_name(header.path), digest, chosen.unit, notes)


@dataclass(frozen=True)
class HeightRules:
    """How the heights of a raster are read: band, number from 1; stored, what its numbers mean; unit; notes on what was assumed."""

    band: int
    stored: StoredHeights
    unit: str
    notes: tuple[str, ...]


def height_rules(
    header: RasterHeader, vertical_unit: str | None, band: int | None, zero_is_nodata: bool | None
) -> HeightRules:
    """What a header and the user say of the heights. Arguments and errors: as `read_raster`."""
    index = _chosen_band(header, band)
    chosen = header.bands[index - 1]
    unit, unit_note = unit_used(
        header.vertical_unit, chosen.unit, vertical_unit, f"{header.option} {header.path.name!r}"
    )
    if "assumed" in unit_note:
        ask_unit(header, index)
    rules = StoredHeights(chosen.nodata, chosen.scale, chosen.offset, VERTICAL_UNITS_M[unit], zero_is_nodata)
    notes = (*header.notes, unit_note, *_band_notes(header, index))
    return HeightRules(index, rules, unit, notes)


def unchanged(header: RasterHeader, digest: str = "") -> bool:
    """Whether the file is still as it was when its header was read; with the digest of what was read a
    mere touch is forgiven."""
    return same_file(header.path, header.stamp, digest)


def check_has_data(raster: SourceRaster, where: str = "the parcels") -> None:
    """Refuse heights that are all missing. Errors: InputRefused, repeating what was treated as no data."""
    if not np.isfinite(raster.values).any():
        why = f" ({'; '.join(raster.notes)})" if raster.notes else ""
        raise InputRefused(
            f"{raster.name!r} has no valid cell in {where}{why}",
            "heights on the ground of the farm",
            "give a DEM that covers it, or correct its no-data value or unit",
        )


def _chosen_band(header: RasterHeader, band: int | None, *, palette: bool = False) -> int:
    heights_in = [index for index, found in enumerate(header.bands, 1) if found.colour != "alpha"]
    words = [found.title or found.colour for found in header.bands]
    listed = ", ".join(f"{i} ({' '.join(filter(None, [words[i - 1], header.bands[i - 1].dtype]))})" for i in heights_in)
    given = f"{header.option}: {header.path.name!r} has {len(heights_in)} bands: {listed}"
    if band is None and len(heights_in) != 1:
        raise UsageError(
            given, "one band of heights", "choose the band by its number (--band), or give a raster of heights"
        )
    index = heights_in[0] if band is None else band
    if index not in heights_in:
        raise UsageError(f"{given}; band {band} was chosen", "a number in that list", "choose another band")
    found = header.bands[index - 1]
    if np.dtype(found.dtype).kind == "c":
        raise InputRefused(
            f"{header.option}: {header.path.name!r} holds complex numbers",
            "heights",
            "export their real part",
        )
    if found.colour == "palette" and not palette:
        raise InputRefused(
            f"{header.option}: {header.path.name!r} is a picture with a palette",
            "heights",
            "give the DEM itself",
        )
    return index


def _band_notes(header: RasterHeader, index: int) -> list[str]:
    notes, found = [], header.bands[index - 1]
    if len(header.bands) > 1:
        notes.append(f"band {index} of {len(header.bands)} used")
    if (found.scale, found.offset) != (1.0, 0.0):
        notes.append(f"stored numbers times {found.scale:g} plus {found.offset:g} are the heights, as the file says")
    return notes


def _window(header: RasterHeader, bounds: tuple[float, float, float, float] | None) -> Window:
    """The whole cells that cover `bounds`, clipped to the raster."""
    if bounds is None:
        return Window(0, 0, header.cols, header.rows)
    west, south, east, north = bounds
    if not all(map(math.isfinite, bounds)) or west > east or south > north:
        raise UsageError(f"bounds are {bounds}", "finite (west, south, east, north)", "correct the bounds")
    cols, rows = zip(*(cells_at(header.affine, x, y) for x in (west, east) for y in (south, north)), strict=True)
    left, right = max(0, _whole(min(cols), math.floor)), min(header.cols, _whole(max(cols), math.ceil))
    top, bottom = max(0, _whole(min(rows), math.floor)), min(header.rows, _whole(max(rows), math.ceil))
    if left >= right or top >= bottom:
        shown = ", ".join(f"{value:.10g}" for value in bounds)
        raise InputRefused(
            f"{header.option}: {header.path.name!r} does not cover {shown} "
            f"(west, south, east, north in {header.crs.name!r})",
            "a raster of that place; this one lies at " + ", ".join(f"{value:.10g}" for value in header.bounds),
            "check the coordinate systems, or give the right tile",
        )
    return Window(left, top, right - left, bottom - top)


def covered(header: RasterHeader, bounds: tuple[float, float, float, float]) -> tuple[slice, slice]:
    """(rows, cols) of the whole cells that `read_raster` gives for `bounds`, counted from the north-west as it gives them."""
    window = _window(header, bounds)
    _, over, along = north_up_affine(header.shape, header.affine)
    top = header.rows - window.row_off - window.height if over else window.row_off
    left = header.cols - window.col_off - window.width if along else window.col_off
    return slice(top, top + window.height), slice(left, left + window.width)


def _whole(value: float, rounded: Callable[[float], int]) -> int:
    """A cell edge, so that rounding in the last place does not add a row of cells."""
    nearest = round(value)
    return nearest if abs(value - nearest) < 1e-6 else rounded(value)


def _require_room(header: RasterHeader, window: Window, item: int) -> None:
    """Judged from the header alone, before a byte of the cells is read."""
    cells = window.width * window.height
    need = cells * (item + 4 + 1) + header.block[0] * header.block[1] * item * len(header.bands) * 2
    require_memory(
        need,
        f"{header.option}: {header.path.name!r}, {window.height} rows x {window.width} columns,",
        "cut it to the farm and its surroundings first; the header may also be wrong",
    )


def _cells_and_digest(header: RasterHeader, index: int, window: Window) -> tuple[np.ndarray, list[Part], str]:
    changed = InputRefused(
        f"{header.option}: {header.path.name!r} has changed since it was opened",
        "a file at rest",
        "run again once it is written",
    )
    if not unchanged(header):
        raise changed
    with ThreadPoolExecutor(max_workers=1) as beside:  # reading waits for decompression, so the digest costs little
        digest = beside.submit(sha256, header.path)
        with reading(header.path, header.option), opened(header.path, header.driver) as source:
            stored, empty = stored_cells(source, header, index, window)
        result = digest.result()
    if not unchanged(header):
        raise changed
    return stored, empty, result


def _shifted(affine: Affine, window: Window) -> Affine:
    a, b, c, d, e, f = affine
    left, top = window.col_off, window.row_off
    return (a, b, a * left + b * top + c, d, e, d * left + e * top + f)


def north_up_affine(shape: tuple[int, int], affine: Affine) -> tuple[Affine, bool, bool]:
    """The affine with row 0 to the north and column 0 to the west, and whether rows and columns have to be turned over for it."""
    a, b, c, d, e, f = affine
    rows, cols = shape
    over, along = False, False
    if a * e - b * d > 0:  # a mirror image: turn the rows over
        over, b, e, c, f = True, -b, -e, _decimal(c + b * rows), _decimal(f + e * rows)
    if b == d == 0 and a < 0:  # then upside down
        over, along, a, e, c, f = not over, True, -a, -e, _decimal(c + a * cols), _decimal(f + e * rows)
    return (a, b, c, d, e, f), over, along


def _north_up(values: np.ndarray, affine: Affine) -> tuple[np.ndarray, Affine]:
    affine, over, along = north_up_affine(values.shape, affine)
    return np.ascontiguousarray(values[:: -1 if over else 1, :: -1 if along else 1]), affine


def _decimal(value: float) -> float:
    """`value` without the noise of the last place, so that a raster and its upside-down twin get the same
    corner."""
    return float(f"{value:.15g}")
