"""Rows of a raster in bands, for work that would otherwise need several arrays of its size."""

from __future__ import annotations

from collections.abc import Iterator

BAND_CELLS = 1 << 22
BAND_ROWS = 128  # bands start at whole tiles of the sliding-sum kernels


def bands(shape: tuple[int, ...], cells: int = BAND_CELLS) -> Iterator[slice]:
    """Slices of rows, from the north, of about `cells` cells each; every one starts at a multiple of BAND_ROWS."""
    rows, cols = shape
    step = max(1, cells // max(cols, 1) // BAND_ROWS) * BAND_ROWS
    for first in range(0, rows, step):
        yield slice(first, min(first + step, rows))
