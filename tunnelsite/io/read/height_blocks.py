"""Heights of a raster larger than memory, window by window: the same numbers as those of the raster read whole."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from rasterio.windows import Window

from tunnelsite.core.layers import SourceRaster
from tunnelsite.io.read.files import file_name
from tunnelsite.io.read.heights import Odd, Zeros, above_datum, blank, datum_sample, middle_datum, zeros_are_asked_about
from tunnelsite.io.read.mosaic import Mosaic, apart_notes, joined, near
from tunnelsite.io.read.rasters import HeightRules, height_rules, north_up_affine
from tunnelsite.io.read.tile_edges import EdgeStep, boxes_of, edge_notes, edge_step

SURVEY_CELLS = 1 << 22  # looked at together


@dataclass(frozen=True)
class HeightBlocks:
    """A raster whose heights are read window by window.

    Attributes: tiles; rules of its numbers; datum_m, subtracted from every height; drops_zeros, whether heights of exactly 0 are
    voids; notes. Rows count from the north and columns from the west, unless the raster is turned.
    """

    tiles: Mosaic
    rules: HeightRules
    datum_m: float
    drops_zeros: bool
    notes: tuple[str, ...]

    @property
    def shape(self) -> tuple[int, int]:
        """(rows, cols)."""
        return self.tiles.whole.shape

    @property
    def affine(self) -> tuple[float, float, float, float, float, float]:
        """(a, b, c, d, e, f) of the rows and columns as they are given out."""
        return north_up_affine(self.shape, self.tiles.whole.affine)[0]

    def read(self, rows: slice, cols: slice) -> np.ndarray:
        """float32 [rows, cols], metres above the datum, NaN = no data. Errors: InputRefused for a file that is damaged or has changed."""
        window, over, along = self._stored_window(rows, cols)
        stored, empty, _ = joined(self.tiles, self.rules.band, window)
        blank(stored, empty)
        values, _ = above_datum(stored, self.rules.stored, self.datum_m, Odd())
        for part in empty:
            values[part] = np.nan
        if self.drops_zeros:
            values[values == np.float32(-self.datum_m)] = np.nan
        return np.ascontiguousarray(values[:: -1 if over else 1, :: -1 if along else 1])

    def near(self, rows: slice, cols: slice) -> HeightBlocks:
        """The same for one window alone, with the headers of its tiles only."""
        return replace(self, tiles=near(self.tiles, self._stored_window(rows, cols)[0]))

    def georeferenced(self, values: np.ndarray) -> SourceRaster:
        """Cells of the whole raster with its place, datum and name."""
        whole = self.tiles.whole
        return SourceRaster(
            values, self.affine, whole.crs, self.datum_m, file_name(whole.path), self.tiles.sha256, self.rules.unit, self.notes
        )  # fmt: skip

    def _stored_window(self, rows: slice, cols: slice) -> tuple[Window, bool, bool]:
        _, over, along = north_up_affine(self.shape, self.tiles.whole.affine)
        top = self.shape[0] - rows.stop if over else rows.start
        left = self.shape[1] - cols.stop if along else cols.start
        return Window(left, top, cols.stop - cols.start, rows.stop - rows.start), over, along


def height_blocks(
    tiles: Mosaic,
    *,
    vertical_unit: str | None = None,
    band: int | None = None,
    zero_is_nodata: bool | None = None,
) -> HeightBlocks:
    """Look through a raster once, so that its windows can be read as if it had been read whole.

    Arguments and errors: as `rasters.read_raster`.
    """
    rules = height_rules(tiles.whole, vertical_unit, band, zero_is_nodata)
    odd, samples, zeros, apart, step = Odd(), [], 0, 0.0, EdgeStep()
    shapes, names = [tile.shape for tile in tiles.tiles], [tile.path.name for tile in tiles.tiles]
    for window in _bands(tiles.whole.shape):
        stored, empty, worst = joined(tiles, rules.band, window)
        blank(stored, empty)
        at = (window.row_off, window.col_off)
        samples.append(datum_sample(stored, rules.stored, tiles.whole.shape, at))
        heights, zero_count = above_datum(stored, rules.stored, 0.0, odd)
        zeros += zero_count
        step = max(step, edge_step(heights, boxes_of(tiles.places, shapes, at)))
        apart = max(apart, worst)
    found = HeightBlocks(tiles, rules, middle_datum(samples), False, ())
    drop, zero_notes = False, tuple[str, ...]()
    if zeros and zeros_are_asked_about(rules.stored):
        near_zero = Zeros()
        for window in _bands(tiles.whole.shape):
            rows, cols = window.toslices()
            near_zero.add(found.read(rows, cols), found.datum_m)
        drop, zero_notes = near_zero.judged(rules.stored, np.dtype(tiles.whole.bands[rules.band - 1].dtype))
    notes = (*rules.notes, *odd.notes(), *zero_notes, *apart_notes(tiles, apart))
    notes += edge_notes(step, names)
    return replace(found, drops_zeros=drop, notes=notes)


def _bands(shape: tuple[int, int]) -> Iterator[Window]:
    rows, cols = shape
    step = max(1, SURVEY_CELLS // cols)
    for first in range(0, rows, step):
        yield Window(0, first, cols, min(step, rows - first))
