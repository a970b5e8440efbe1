"""A process run on a raster too large to be held: read, computed and written part by part."""

from __future__ import annotations

import contextlib
import shutil
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from tunnelsite.core.describe import LayerSpec
from tunnelsite.core.errors import ResourceShortage
from tunnelsite.core.layers import Layer, SourceRaster
from tunnelsite.core.process import GroundTiles, Process, Progress
from tunnelsite.hosts.process_inputs import cell_size_m
from tunnelsite.io.formats.cog_blocks import NEED_BYTES, cog_by_blocks
from tunnelsite.io.formats.overviews import way_of
from tunnelsite.io.read.files import bytes_words
from tunnelsite.io.read.height_blocks import HeightBlocks
from tunnelsite.io.read.raster_header import RasterHeader
from tunnelsite.io.write.scratch import FROM_BYTES


def too_large(shape: tuple[int, int]) -> bool:
    """Whether a layer of this shape is kept out of memory: from the size on from which a screening keeps its own in files."""
    return 4 * shape[0] * shape[1] >= FROM_BYTES


def refuse_without_room(header: RasterHeader, output: Path) -> None:
    """Refuse what the output's disk clearly has no room for. Errors: ResourceShortage, before any cell is read."""
    rows, cols = header.shape
    need = NEED_BYTES * rows * cols
    with contextlib.suppress(OSError):  # no such folder: said by who writes there
        free = shutil.disk_usage(output.absolute().parent).free
        if need > free:
            raise ResourceShortage(
                f"a layer of {rows} rows x {cols} columns takes up to {bytes_words(need)} of disk while it is written",
                f"at most {bytes_words(free)}, which is what is free in the output's folder",
                "choose a folder on a larger disk, or cut the raster into pieces",
            )


def without_cells(blocks: HeightBlocks) -> SourceRaster:
    """The raster with its place and notes; its cells are not there (one NaN stands for all)."""
    return blocks.georeferenced(np.broadcast_to(np.float32(np.nan), blocks.shape))


@dataclass(frozen=True)
class LayerOutput:
    """The layer that is wanted and where it goes."""

    spec: LayerSpec
    path: Path
    overwrite: bool


def run_by_tiles(
    process: Process, blocks: HeightBlocks, parameters: dict[str, Any], wanted: LayerOutput, progress: Progress
) -> Layer:
    """Run a process by its tiles and write one of its layers.

    Arguments: process, whose `by_tiles` allows the parameters; blocks, the raster; parameters, not checked yet; wanted; progress.
    Return: the layer's title and unit, without its values. Errors: as `raster_inputs` and `cog_by_blocks`.
    """
    if process.by_tiles is None:
        raise ValueError(f"{process.id} is not run by tiles")
    raster = without_cells(blocks)
    ground = GroundTiles(blocks.shape, cell_size_m(raster), lambda rows, cols: blocks.near(rows, cols).read(rows, cols))
    spec = wanted.spec
    told: list[Layer] = []
    with cog_by_blocks(
        wanted.path, raster, title=spec.title, overwrite=wanted.overwrite, overviews=way_of(spec.id)
    ) as writer:

        def write(rows: slice, cols: slice, layers: dict[str, Layer]) -> None:
            layer = layers[spec.id]
            writer.unit = layer.unit
            writer.write(rows, cols, spec.stored(layer.values, blocks.datum_m))
            told[:] = [Layer(np.empty((0, 0)), layer.unit, layer.title, layer.cell_m)]

        process.by_tiles.run(ground, process.description.checked(parameters), write, progress)
    return told[0]
