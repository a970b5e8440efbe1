"""Drainage of a raster larger than memory: filled ground, directions and contributing areas, tile by tile.

The whole raster is never held: one tile at a time, and the cells on the tiles' perimeters. The result is that of
`fill.filled`, `flow.flow_direction` and `upslope.upslope_cells` of the whole raster, to the bit; docs/decisions/ says why.
"""

from typing import NamedTuple

import numpy as np

from tunnelsite.kernels.water.flow import spacing
from tunnelsite.kernels.water.tile_frame import frame, grown, mine, spots
from tunnelsite.kernels.water.tiled_fill import perimeter_levels, refilled, tile_spills
from tunnelsite.kernels.water.tiled_flow import shorter_next_door, tile_directions, tile_steps, unknown_steps
from tunnelsite.kernels.water.tiled_upslope import inflow_over_perimeters, tile_links, tile_upslope


class DrainedTile(NamedTuple):
    """One tile of the result, all (rows, cols).

    Attributes: ground, as read, no data NaN; filled [m]; direction, codes of `flow`; cells, how many drain through each, 0 =
    no data (int64); open_edge, where that is a lower bound.
    """

    ground: np.ndarray
    filled: np.ndarray
    direction: np.ndarray
    cells: np.ndarray
    open_edge: np.ndarray


def tiled_drainage(read_tile, write_tile, shape, tile, cell_m, progress=None):
    """Drain a raster tile by tile.

    Arguments:
        read_tile: called as read_tile(rows, cols) with two slices, gives those heights [m], NaN = no data, float32 or float64,
            the same each time: every tile is read four times or more.
        write_tile: called as write_tile(rows, cols, DrainedTile) once for each tile, row by row from the north-west.
        shape: (rows, cols) of the raster. tile: cells along a tile's side.
        cell_m: (east, north) spacing [m]. progress: called with a share done, 0 to 1.
    Returns: how many tiles were looked at again for level ground that runs on over their edges.
    Raises: ValueError as the kernels named above, or a tile of another shape than asked for.
    Source: see `tiled_fill`, `tiled_flow` and `tiled_upslope`.
    """
    of, size = frame(shape, tile), spacing(*cell_m)
    places = spots(of)
    tell = progress or (lambda share: None)
    ground = _reader(read_tile)

    def told(sequence, start):
        for k, one in enumerate(sequence):
            yield one
            tell(start + 0.25 * (k + 1) / len(sequence))

    levels = perimeter_levels(of, [tile_spills(ground(spot)) for spot in told(places, 0.0)])

    def window(spot):
        return grown(of, spot, refilled(of, spot, ground(spot), levels), levels, np.nan)

    steps, again = _settled_steps(of, told(places, 0.25), window, size, levels)
    links = [tile_links(tile_directions(of, spot, window(spot), size, steps)) for spot in told(places, 0.5)]
    inflow = inflow_over_perimeters(of, places, links)
    for spot in told(places, 0.75):
        heights = ground(spot)
        full = refilled(of, spot, heights, levels)
        direction = tile_directions(of, spot, grown(of, spot, full, levels, np.nan), size, steps)
        cells, open_edge = tile_upslope(of, spot, direction, inflow)
        heights = np.where(np.isfinite(heights), heights, np.nan).astype(full.dtype)
        write_tile(*_place(spot), DrainedTile(heights, full, direction[1:-1, 1:-1].copy(), cells, open_edge))
    return again


def tiled_filled(read_tile, write_tile, shape, tile, progress=None):
    """Fill a raster tile by tile: the same surface as `fill.filled` of the whole.

    Arguments: as `tiled_drainage`; every tile is read twice; write_tile is called with (rows, cols, ground, filled ground).
    Raises: ValueError as `fill.filled`, or a tile of another shape than asked for.
    """
    of = frame(shape, tile)
    places, ground = spots(of), _reader(read_tile)
    tell = progress or (lambda share: None)
    found = []
    for k, spot in enumerate(places):
        found.append(tile_spills(ground(spot)))
        tell(0.5 * (k + 1) / len(places))
    levels = perimeter_levels(of, found)
    for k, spot in enumerate(places):
        heights = ground(spot)
        write_tile(*_place(spot), heights, refilled(of, spot, heights, levels))
        tell(0.5 + 0.5 * (k + 1) / len(places))


def _place(spot):
    return slice(spot.row, spot.row + spot.rows), slice(spot.col, spot.col + spot.cols)


def _reader(read_tile):
    def ground(spot):
        rows, cols = _place(spot)
        found = np.asarray(read_tile(rows, cols))
        if found.shape != (spot.rows, spot.cols):
            raise ValueError(f"read_tile({rows}, {cols}) gave shape {found.shape}; expected {(spot.rows, spot.cols)}")
        return found

    return ground


def _settled_steps(of, sequence, window, size, levels):
    """Steps over level ground of all perimeter cells, found again for every tile beside which they fell; how many times."""
    places, steps, waiting, again = spots(of), unknown_steps(of), set(), 0

    def look(spot):
        was = steps[mine(of, spot)].copy()
        steps[mine(of, spot)] = tile_steps(of, spot, window(spot), size, steps)
        waiting.discard(spot.number)
        return shorter_next_door(of, spot, levels, steps, was)

    seen = set()
    for spot in sequence:
        seen.add(spot.number)
        waiting |= {number for number in look(spot) if number in seen}
    while waiting:
        again += 1
        waiting |= look(places[min(waiting)])
    return steps, again
