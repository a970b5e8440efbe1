"""The stored cells of one band in a window, after a check that each block of them is really there."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import rasterio
from rasterio.windows import Window

from tunnelsite.core.errors import InputRefused
from tunnelsite.core.layers import Part
from tunnelsite.io.read.raster_header import READING_ERRORS, RasterHeader


def stored_cells(
    source: rasterio.DatasetReader, header: RasterHeader, band: int, window: Window
) -> tuple[np.ndarray, list[Part]]:
    """The cells of a window as they are stored, and the parts of it that hold none.

    Arguments: source, the open raster; header; band, number from 1; window, whole cells inside the raster.
    Returns: [rows, cols] of the stored dtype; index expressions of the parts without data (blocks left
        out, masked cells).
    Errors: InputRefused naming the rows and columns that are damaged or lie beyond the end of the file.
    """
    empty = _check_blocks(source, header, band, window) if header.driver == "GTiff" else []
    try:
        stored = source.read(band, window=window)
        if header.bands[band - 1].masked:
            empty.append(source.read_masks(band, window=window) == 0)
    except READING_ERRORS as error:
        raise _damaged(
            header, _first_bad_part(source, header, band, window), f"cannot be read ({_reason(error)})"
        ) from None
    return stored, empty


def _check_blocks(source: rasterio.DatasetReader, header: RasterHeader, band: int, window: Window) -> list[Part]:
    """Index expressions of blocks that were never written; GDAL would fill them with zeros."""
    rows, cols = (-(-size // step) for size, step in zip(header.shape, header.block, strict=True))
    if 2 * rows * cols > header.stamp.bytes:  # the table of blocks takes 2 bytes for each at the very least
        raise _damaged(
            header, window, f"cannot be there: {header.stamp.bytes} bytes do not hold {rows} x {cols} blocks"
        )
    empty: list[Part] = []
    for row, col, part in _blocks(header, window):
        offset = source.get_tag_item(f"BLOCK_OFFSET_{col}_{row}", "TIFF", bidx=band)
        if offset is None:
            rows, cols = part.toslices()
            empty.append(
                (
                    slice(max(rows.start - window.row_off, 0), rows.stop - window.row_off),
                    slice(max(cols.start - window.col_off, 0), cols.stop - window.col_off),
                )
            )
            continue
        end = int(offset) + int(source.get_tag_item(f"BLOCK_SIZE_{col}_{row}", "TIFF", bidx=band) or 0)
        if end > header.stamp.bytes:
            beyond = f"lies beyond the end of the file ({header.stamp.bytes} bytes instead of at least {end})"
            raise _damaged(header, part, beyond)
    return empty


def _blocks(header: RasterHeader, window: Window) -> Iterator[tuple[int, int, Window]]:
    """(row, column, window) of each stored block that a window touches."""
    high, wide = header.block
    for row in range(window.row_off // high, -(-(window.row_off + window.height) // high)):
        for col in range(window.col_off // wide, -(-(window.col_off + window.width) // wide)):
            rows, cols = min(high, header.rows - row * high), min(wide, header.cols - col * wide)
            yield row, col, Window(col * wide, row * high, cols, rows)


def _first_bad_part(source: rasterio.DatasetReader, header: RasterHeader, band: int, window: Window) -> Window:
    for _, _, part in _blocks(header, window):
        try:
            source.read(band, window=part)
        except READING_ERRORS:
            return part
    return window


def _damaged(header: RasterHeader, part: Window, what: str) -> InputRefused:
    rows, cols = part.toslices()
    return InputRefused(
        f"{header.option}: {header.path.name!r} is damaged: the block of rows {rows.start}-{rows.stop - 1}, "
        f"columns {cols.start}-{cols.stop - 1} {what}",
        f"a whole raster of {header.rows} x {header.cols} cells",
        "copy or download it again",
    )


def _reason(error: BaseException) -> str:
    before = error.__cause__ or error.__context__
    return str(error) if before is None else _reason(before)
