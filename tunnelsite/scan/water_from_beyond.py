"""What the land beyond the land that was read does to its water: from a drainage of all of it, in the raster's own cells.

A frame's own drainage stays what it is wherever no water from beyond runs: it is made of the same interpolated heights as
everything else. Where such water runs, the area is that of the raster's drainage, if it is larger.
"""

from __future__ import annotations

import numpy as np

from tunnelsite.core.grid import Grid, horizontal, transformer
from tunnelsite.core.layers import Drained, Layer
from tunnelsite.core.site import Frame
from tunnelsite.kernels.water.beyond import carried, inside_cells, raised_edge, reached_from_beyond
from tunnelsite.scan.localise import LATTICE_TOLERANCE_CELLS, close_lattice


def beyond_layers(drained: Drained, frame: Frame) -> dict[str, Layer]:
    """`upslope_beyond_m2`, `open_beyond` and `filled_edge` on the frame's grid.

    Arguments: drained, the frame's land and a cell more all round; frame.
    """
    grid, ground = frame.grid, frame.ground
    back, there = close_lattice(drained, grid), _places(drained, grid)
    inside = inside_cells(ground, *there, *drained.direction.shape)
    reached = reached_from_beyond(drained.direction, inside)
    cell_m2 = _cell_m2(back, grid)
    area, edge = carried(drained.cells, reached, drained.open_edge, ground, there, back)
    area *= np.float32(cell_m2)
    raised = raised_edge(ground, drained.depth, *back)
    cell = (grid.cell_m, grid.cell_m)
    return {
        "upslope_beyond_m2": Layer(area, "m2", "Contributing area where water from beyond runs", cell),
        "open_beyond": Layer(edge, "1", "That area is a lower bound", cell),
        "filled_edge": Layer(raised, "m", "Water level at the edge of the data", cell),
    }


def _cell_m2(lattice: tuple[np.ndarray, np.ndarray, int], grid: Grid) -> float:
    """Area of a cell of the raster [m2] in the middle of a grid."""
    row, col, step = lattice
    i, j = (row.shape[0] - 1) // 2, (row.shape[1] - 1) // 2
    down = row[i + 1, j] - row[i, j], col[i + 1, j] - col[i, j]
    along = row[i, j + 1] - row[i, j], col[i, j + 1] - col[i, j]
    return float((step * grid.cell_m) ** 2 / abs(down[0] * along[1] - down[1] * along[0]))


def _places(drained: Drained, grid: Grid) -> tuple[np.ndarray, np.ndarray, int]:
    """(row, col, step): place in the grid, counted from its outer corner, of every `step`-th cell centre of the raster."""
    change = transformer(horizontal(drained.crs).to_wkt(), grid.crs_wkt)
    a, b, c, d, e, f = drained.affine
    rows, cols = drained.direction.shape

    def at(step: int, shift: float) -> tuple[np.ndarray, np.ndarray]:
        row = (np.arange(-(-rows // step) + 1) + shift) * step + 0.5
        col = (np.arange(-(-cols // step) + 1) + shift) * step + 0.5
        col, row = np.meshgrid(col, row)
        along, across = grid.from_map(*change.transform(a * col + b * row + c, d * col + e * row + f))
        return (grid.north_m - across) / grid.cell_m, (along - grid.west_m) / grid.cell_m

    step = 32
    while True:
        found, exact = at(step, 0.0), at(step, 0.5)
        worst = max(
            np.abs(middle[:-1, :-1] - (one[:-1, :-1] + one[1:, :-1] + one[:-1, 1:] + one[1:, 1:]) / 4).max()
            for one, middle in zip(found, exact, strict=True)
        )
        if step == 1 or worst <= LATTICE_TOLERANCE_CELLS:
            return *found, step
        step //= 2
