"""Steps along the edges of tiles that are read as one raster: a tile in another unit or above another datum."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from tunnelsite.core.errors import InputRefused

LEAST_CELLS = 50  # along an edge: fewer may lie on a bank
ALIKE = 5  # neighbouring cells that err alike (ours)
NOTED_M = 0.2  # a step that is told (ours)
MOST_M = 10.0  # no ground steps so far along a whole edge, nor do two vertical datums of one land (ours)

Box = tuple[int, int, int, int]


@dataclass(frozen=True, order=True)
class EdgeStep:
    """A step along an edge of a tile [m], and the number of that tile."""

    size_m: float = 0.0
    tile: int = 0


def boxes_of(places: Sequence[tuple[int, int]], shapes: Sequence[tuple[int, int]], at: tuple[int, int]) -> list[Box]:
    """The boxes of tiles counted from a cell of their whole; none where there is one tile.

    Arguments: places, (row, col) of each tile's first cell in the whole; shapes; at, that cell."""
    if len(places) == 1:
        return []
    corners = [(row - at[0], col - at[1]) for row, col in places]
    return [(top, left, top + high, left + wide) for (top, left), (high, wide) in zip(corners, shapes, strict=True)]


def edge_step(heights: np.ndarray, boxes: Sequence[Box]) -> EdgeStep:
    """The greatest step along an edge of a tile, of 0 m where none stands out.

    Arguments: heights [m], [rows, cols], NaN = no data; boxes (top, left, bottom, right) of the tiles there, which may reach beyond. The
    step is the median of how far the difference across an edge departs from those beside it, so slopes count for nothing; one within
    four standard errors of none is none.
    """
    worst = EdgeStep()
    for tile, strip in _across_edges(heights, boxes):
        before, across, after = np.diff(strip.astype(np.float64), axis=1).T
        bend = across - (before + after) / 2.0
        bend = bend[np.isfinite(bend)]
        if len(bend) < LEAST_CELLS:
            continue
        step = abs(float(np.median(bend)))
        error = 1.4826 * float(np.median(np.abs(bend - np.median(bend)))) / np.sqrt(len(bend) / ALIKE)
        if step > 4.0 * error:
            worst = max(worst, EdgeStep(step, tile))
    return worst


def edge_notes(step: EdgeStep, names: Sequence[str]) -> tuple[str, ...]:
    """What is told of the greatest step. Arguments: step; names of the tiles. Errors: InputRefused where it can be none of the ground."""
    if step.size_m > MOST_M:
        raise InputRefused(
            f"along an edge of tile {names[step.tile]} the heights step by {step.size_m:.4g} m (median)",
            "tiles with heights in one unit and above one vertical datum",
            "look for the tile that stands out there, convert it or leave it out",
        )
    if step.size_m < NOTED_M:
        return ()
    told = f"along an edge of tile {names[step.tile]} the heights step by {step.size_m:.2g} m (median)"
    return (f"{told}: check the tiles' vertical datums",)


def _across_edges(values: np.ndarray, boxes: Sequence[Box]) -> Iterator[tuple[int, np.ndarray]]:
    """Number of the tile and float [n, 4], two cells on either side of each edge of the tiles, in the order across it."""
    for sheet, sides in ((values, boxes), (values.T, [(b[1], b[0], b[3], b[2]) for b in boxes])):
        seen = set[tuple[int, int]]()
        for tile, (top, left, bottom, right) in enumerate(sides):
            for edge in {left, right}:
                rows = slice(max(top, 0), max(bottom, 0))
                if 2 <= edge <= sheet.shape[1] - 2 and (edge, rows.start) not in seen:
                    seen.add((edge, rows.start))
                    yield tile, sheet[rows, edge - 2 : edge + 2]
