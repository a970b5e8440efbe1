"""Drainage of a raster that is small enough to be looked at in one piece, kept in the same tiles as that of a larger one."""

from __future__ import annotations

from dataclasses import dataclass

from tunnelsite.io.read.height_blocks import HeightBlocks
from tunnelsite.io.write.drained_tiles import DrainedTiles, write_tile
from tunnelsite.kernels.water.fill import filled
from tunnelsite.kernels.water.flow import flow_direction
from tunnelsite.kernels.water.tile_frame import frame, spots
from tunnelsite.kernels.water.upslope import upslope_cells


@dataclass(frozen=True)
class WholeWork:
    """A raster to be drained in one piece: blocks, its heights; spacing_m; tiles, where it is kept; wanted, numbers of those to keep."""

    blocks: HeightBlocks
    spacing_m: tuple[float, float]
    tiles: DrainedTiles
    wanted: tuple[int, ...]


def drain_at_once(whole: WholeWork) -> None:
    """All steps at once, with the kernels that the tiles' are equal to."""
    rows, cols = whole.tiles.shape
    ground = whole.blocks.read(slice(0, rows), slice(0, cols))
    full = filled(ground)
    direction = flow_direction(full, *whole.spacing_m)
    cells, open_edge = upslope_cells(direction)
    layers = {"direction": direction, "cells": cells, "open_edge": open_edge, "depth": full - ground}
    for spot in spots(frame(whole.tiles.shape, whole.tiles.tile)):
        if spot.number in whole.wanted:
            write_tile(
                whole.tiles.path(spot.number),
                {
                    name: values[spot.row : spot.row + spot.rows, spot.col : spot.col + spot.cols]
                    for name, values in layers.items()
                },
            )
