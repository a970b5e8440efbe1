"""Writes a Cloud Optimized GeoTIFF of a layer that is too large for memory, block by block; the same bytes as `cog.write_cog`."""

from __future__ import annotations

import contextlib
import zlib
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import rasterio
import rasterio.shutil
from rasterio._err import CPLE_BaseError  # not public, but a copy that fails does raise it
from rasterio.errors import RasterioError
from rasterio.windows import Window

from tunnelsite.io.formats.cog import TILE, Place, check_overviews, cog_options, describe, profile_of, verify_cog
from tunnelsite.io.formats.overviews import copied_with_levels, levels_beside
from tunnelsite.io.write.staging import staged

CACHE_MB = 128  # of GDAL, in each of its files
NEED_BYTES = 11  # a cell at most: as it is written first, the finished file, and its coarser copies on the way


class BlockWriter:
    """A layer that is written block by block.

    Attributes: unit, to be set before the end.
    """

    def __init__(self, file: rasterio.io.DatasetWriter) -> None:
        self.unit = ""
        self._file = file
        self._sums: dict[tuple[int, int, int, int], int] = {}

    def write(self, rows: slice, cols: slice, values: np.ndarray) -> None:
        """Write one block. Errors: ValueError for an infinite value."""
        with np.errstate(over="ignore"):
            cells = np.ascontiguousarray(values, np.float32)
        if np.isinf(cells).any():
            raise ValueError("the layer holds a value that is infinite in single precision")
        place = (cols.start, rows.start, cols.stop - cols.start, rows.stop - rows.start)
        self._file.write(cells, 1, window=Window(*place))
        self._sums[place] = zlib.crc32(cells.data)

    def same_cells(self, file: rasterio.io.DatasetReader) -> None:
        """Errors: OSError unless a file holds what was written, in every block."""
        for place, expected in self._sums.items():
            if zlib.crc32(np.ascontiguousarray(file.read(1, window=Window(*place))).data) != expected:
                raise OSError(
                    f"read back, the cells from row {place[1]}, column {place[0]} on differ from what was written"
                )
        if sum(place[2] * place[3] for place in self._sums) != file.width * file.height:
            raise OSError("not every cell was written just once")


@contextlib.contextmanager
def cog_by_blocks(
    path: str | Path, grid: Place, *, title: str, overwrite: bool, overviews: str = "average", layer: str = ""
) -> Iterator[BlockWriter]:
    """A layer to be written block by block, each cell once, in any order; it takes its place when the `with` block ends well.

    Room for it is asked for first: GDAL's COG driver can crash the process on a full disk.

    Arguments and errors: as `cog.write_cog`; layer, its id for the tags.
    """
    check_overviews(overviews)
    begun: list[BlockWriter] = []

    def verify(temp: Path) -> None:
        [writer] = begun
        verify_cog(temp, grid, writer.unit, writer.same_cells)

    need, failures = NEED_BYTES * grid.rows * grid.cols, (RasterioError, CPLE_BaseError)
    with (
        rasterio.Env(GDAL_NUM_THREADS="1", GDAL_PAM_ENABLED="NO", GDAL_CACHEMAX=CACHE_MB),
        staged(path, overwrite=overwrite, need_bytes=need, verify=verify, driver_errors=failures) as temp,
    ):
        first = temp.with_name(f"{temp.name}.cells.tif")  # cleared away with the temporary file, whatever happens
        with rasterio.open(
            first,
            "w+",
            driver="GTiff",
            tiled=True,
            blockxsize=TILE,
            blockysize=TILE,
            bigtiff="IF_SAFER",
            **profile_of(grid),
        ) as file:
            writer = BlockWriter(file)
            begun.append(writer)
            yield writer
            if layer:
                file.update_tags(layer=layer)
            describe(file, grid, writer.unit, title, lambda: _strips(file))
            if overviews != "max":
                # from the open file, whose coordinate system is still the one given, to the last bit
                rasterio.shutil.copy(file, temp, driver="COG", **cog_options(overviews))
        if overviews == "max":
            levels = levels_beside(first, TILE)
            copied_with_levels(str(first), levels, str(temp), cog_options(overviews))
            for level in levels:
                Path(level).unlink()
        first.unlink()


def _strips(file: rasterio.io.DatasetReader) -> Iterator[np.ndarray]:
    for row in range(0, file.height, TILE):
        yield file.read(1, window=Window(0, row, file.width, min(TILE, file.height - row)))
