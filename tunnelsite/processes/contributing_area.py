"""Drainage: how much land sheds its water through each cell."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from tunnelsite.core.describe import Description, LayerSpec, Parameter
from tunnelsite.core.layers import Layer
from tunnelsite.core.needs import LAYERS, supplied
from tunnelsite.core.process import ByTiles, GroundTiles, Inputs, Process, Progress, Values, Write
from tunnelsite.kernels.bands import bands
from tunnelsite.kernels.water import by_richdem, dinfinity, fill, flow, upslope
from tunnelsite.kernels.water.tiled_drainage import DrainedTile, tiled_drainage
from tunnelsite.processes.filled_ground import filled_by


def _run(inputs: Inputs, parameters: Values, progress: Progress) -> dict[str, Layer]:
    ground, edge = inputs["ground"], inputs.get("filled_edge")
    spilling = ground.values if edge is None else np.fmax(ground.values, edge.values)
    filled = filled_by(parameters["engine"], spilling, lambda: progress("drainage", 0.1))
    del spilling
    progress("drainage", 0.5)
    if parameters["engine"] == "richdem":
        return _by_richdem(inputs, filled, parameters["method"], progress)
    direction = flow.flow_direction(filled, *ground.cell_m)
    ponding = None
    if parameters["method"] == "d8":
        ponding = np.subtract(filled, ground.values, out=filled)  # the filled ground is not looked at again
        progress("drainage", 0.7)
        cells, open_edge = upslope.upslope_cells(direction)
        area, cell_m2 = cells.view(np.float32), np.float32(ground.cell_m[0] * ground.cell_m[1])
        for rows in bands(cells.shape):  # in the memory of the numbers
            area[rows] = np.where(cells[rows] == 0, np.float32(np.nan), cells[rows].astype(np.float32) * cell_m2)
    else:
        angle = dinfinity.flow_angle(filled, direction, ground.cell_m[0])
        area, open_edge = dinfinity.upslope_area_dinf(angle, ground.cell_m[0])
        area = area.astype(np.float32)
        ponding = fill.ponding_depth(ground.values, filled)
    _add_beyond(inputs, area, open_edge)
    progress("drainage", 1.0)
    return _layers(GatheredWater(area, open_edge, ponding, direction), ground.cell_m)


def _by_richdem(inputs: Inputs, filled: np.ndarray, method: str, progress: Progress) -> dict[str, Layer]:
    """The layers by richdem's own accumulation; where more may come from beyond the data is looked up along its directions."""
    ground = inputs["ground"]
    cells, direction = by_richdem.accumulated(filled, method)
    area = (cells * (ground.cell_m[0] * ground.cell_m[1])).astype(np.float32)
    open_edge = upslope.upslope_cells(direction)[1]
    _add_beyond(inputs, area, open_edge)
    progress("drainage", 1.0)
    return _layers(GatheredWater(area, open_edge, fill.ponding_depth(ground.values, filled), direction), ground.cell_m)


TILE = 2048  # cells along a tile's side, where the raster is too large to be held


def _by_tiles(ground: GroundTiles, parameters: Values, write: Write, progress: Progress) -> None:
    cell_m2 = np.float32(ground.cell_m[0] * ground.cell_m[1])

    def put(rows: slice, cols: slice, tile: DrainedTile) -> None:
        area = np.where(tile.cells == 0, np.float32(np.nan), tile.cells.astype(np.float32) * cell_m2)
        water = GatheredWater(area, tile.open_edge, tile.filled - tile.ground, tile.direction)
        write(rows, cols, _layers(water, ground.cell_m))

    tiled_drainage(ground.read, put, ground.shape, TILE, ground.cell_m, lambda share: progress("drainage", share))


class GatheredWater(NamedTuple):
    """How water gathers, [rows, cols] each: contributing area [m2], whether that is a lower bound, depth of hollows [m], flow direction."""

    area_m2: np.ndarray
    open_edge: np.ndarray
    ponding_m: np.ndarray
    direction: np.ndarray


def _layers(water: GatheredWater, cell_m: tuple[float, float]) -> dict[str, Layer]:
    return {
        "upslope_m2": Layer(water.area_m2, "m2", "Contributing area", cell_m),
        "open_edge": Layer(water.open_edge, "1", "Contributing area is a lower bound", cell_m),
        "ponding_m": Layer(water.ponding_m, "m", "Depth of hollows", cell_m),
        "flow_direction": Layer(water.direction, "1", "Where each cell drains to", cell_m),
    }


def _add_beyond(inputs: Inputs, area: np.ndarray, open_edge: np.ndarray) -> None:
    """What is known of water from beyond the raster, put in (in place)."""
    for rows in bands(area.shape):
        if "upslope_beyond_m2" in inputs:
            area[rows] = np.fmax(area[rows], inputs["upslope_beyond_m2"].values[rows])
        if "open_beyond" in inputs:
            open_edge[rows] = inputs["open_beyond"].values[rows] > 0


BEYOND = tuple(LAYERS[name] for name in ("upslope_beyond_m2", "open_beyond", "filled_edge"))
PROCESS = Process(
    Description(
        "contributing_area",
        "Contributing area",
        "Contributing area of each cell, its own included, on the depression-filled ground, by one steepest neighbour (D8) or "
        "shared between two (D-infinity). The engine richdem does all of it in its own way: slower, water goes to the lowest neighbour, "
        "holes in the data are lakes, and the outermost cells drain to nowhere.",
        reads=(LayerSpec("ground", "m", "bare ground"), *BEYOND),
        makes=(
            LayerSpec("upslope_m2", "m2", "contributing area"),
            LayerSpec("open_edge", "1", "1 where water may come from beyond the data: the area is a lower bound"),
            LayerSpec("ponding_m", "m", "depth of the hollow the cell lies in, below its rim"),
            LayerSpec(
                "flow_direction",
                "1",
                "neighbour the cell drains to: E 1, SE 2, S 4, SW 8, W 16, NW 32, N 64, NE 128; 0 an outlet, 255 no data",
                no_data=int(flow.NO_DATA),
            ),
        ),
        parameters=(Parameter("method", "how flow is shared", "d8", choices=("d8", "d-infinity")), supplied("engine")),
        source="ocallaghan-mark-1984, tarboton-1997",
    ),
    _run,
    ByTiles(_by_tiles, lambda parameters: parameters["method"] == "d8" and parameters["engine"] == "built-in"),
)
