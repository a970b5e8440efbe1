"""Pieces of ground that stand above all that lies round them, in walls: roofs and crowns in a surface model taken for bare ground."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import product
from typing import NamedTuple

import numpy as np
from scipy import ndimage

from tunnelsite.core.describe import Description, LayerSpec, Parameter
from tunnelsite.core.layers import Layer
from tunnelsite.core.needs import supplied
from tunnelsite.core.process import Inputs, Process, Progress, Values
from tunnelsite.kernels.bands import bands
from tunnelsite.kernels.terrain.steep_steps import steep_steps

LEAST_STEP_M = 0.5  # between neighbours, however small the cells: noise is no wall
ROUNDED_STEPS = 1.5  # rounding alone makes steps of one between neighbours
WALL_SLOPE = 0.6  # 31 deg, steeper than the side slopes that earth is left with (common practice, no source)
GROUND_M2, GROUND_CELLS = 400.0, 20  # smaller pieces between walls are parts of what stands there
ROUND_SHARE = 0.75  # of the outline of a roof that has to lie lower
SEEN_SHARE = 0.3  # of the outline that has to lie across a wall, not across a wing or a belt of trees
WALL_M, WALL_CELLS = 16.0, 6  # the widest wall between a roof and the ground, where the model smears it
ONE_SIDED = 4  # times as much above as below: a cliff lies as much below the land at its top as above that at its foot
BAND_CELLS = 1 << 18  # an index of 32 bits is copied to one of 64
PART_CELLS = 4096  # side of the squares that a large raster is looked at in, for memory
MARGIN = 3  # sides of the largest roof that are looked at round a square
PASSES = 3  # a high roof is found first, then the lower one beside it
_RING = np.ones((3, 3), bool)


@dataclass(frozen=True)
class _Pieces:
    """label, int32 [rows, cols]: number of the piece of ground, or of the nearest one; own, bool: whether the cell lies in it;
    near, int32 [2, rows, cols]: row and column of the nearest cell of it; height, float32 [m]: there; cells [count + 1]."""

    label: np.ndarray
    own: np.ndarray
    near: np.ndarray
    height: np.ndarray
    cells: np.ndarray


def _pieces(ground: np.ndarray, between: np.ndarray, least: float) -> _Pieces | None:
    """Ground cut at its walls into pieces of at least `least` cells, every other cell given to the nearest; None without any."""
    label, count = ndimage.label(between)
    cells = np.zeros(count + 1, np.int64)
    for rows in bands(label.shape, BAND_CELLS):
        cells += np.bincount(label[rows].ravel(), minlength=count + 1)
    cells[0] = 0
    own = _looked_up(cells >= least, label)
    if not own.any():
        return None
    near = ndimage.distance_transform_edt(~own, return_distances=False, return_indices=True)
    nearest, height = np.empty_like(label), np.empty_like(ground)
    for rows in bands(label.shape, BAND_CELLS):
        at = tuple(near[:, rows])
        nearest[rows], height[rows] = label[at], ground[at]
    return _Pieces(nearest, own, near, height, cells)


def _looked_up(table: np.ndarray, label: np.ndarray) -> np.ndarray:
    """The entry of a table at each label."""
    found = np.empty(label.shape, table.dtype)
    for rows in bands(label.shape, BAND_CELLS):
        found[rows] = table[label[rows]]
    return found


def _roofs(pieces: _Pieces, known: np.ndarray, rise_m: float, sizes: tuple[float, float]) -> np.ndarray:
    """bool [count + 1]: pieces that stand `rise_m` above the pieces beside them, nearly all round.

    Arguments: pieces; known, bool [rows, cols]: cells with data, whose end is an outline that nothing is known of; rise_m; sizes,
    in cells: of the largest piece, and of the widest wall.
    """
    most, widest = sizes
    count = len(pieces.cells)
    borders = []
    for first, second in ((np.s_[:, :-1], np.s_[:, 1:]), (np.s_[:-1], np.s_[1:])):
        one, two = pieces.label[first], pieces.label[second]
        meet = (one != two) & known[first] & known[second]
        gap = np.hypot(*(pieces.near[k][first][meet] - pieces.near[k][second][meet] for k in (0, 1)))
        rise = pieces.height[first][meet] - pieces.height[second][meet]
        borders += [
            (one[meet], two[meet], rise >= rise_m, gap <= widest),
            (two[meet], one[meet], rise <= -rise_m, gap <= widest),
        ]
    here, there, above, close = map(np.concatenate, zip(*borders, strict=True))
    outline = np.bincount(here, minlength=count)
    end = pieces.own & ~ndimage.binary_erosion(known)  # the grid's own rim too
    ends = np.bincount(pieces.label[end], minlength=count)
    roof = np.zeros(count, bool)
    for _ in range(PASSES):
        open_side = close & ~roof[there]  # what stands on a roof is no neighbour of it
        round_it = np.bincount(here[open_side], minlength=count)
        lower = np.bincount(here[open_side], weights=above[open_side], minlength=count)
        now = (round_it > SEEN_SHARE * outline) & (lower >= ROUND_SHARE * (round_it + ends)) & (pieces.cells <= most)
        if (now <= roof).all():
            break
        roof |= now
    return roof


def _sides(above: np.ndarray, rise_m: float) -> np.ndarray:
    """1 where clumps of cells stand above the nearest ground, -1 where they lie below it, 0 elsewhere. Arguments: above [m]; rise_m."""
    clump, count = ndimage.label(above != 0, structure=_RING)
    high, low = above >= rise_m, above <= -rise_m
    up, down = (np.bincount(clump[side], minlength=count + 1) for side in (high, low))
    stands = _looked_up(up >= ONE_SIDED * down, clump)
    found = np.zeros(above.shape, np.float32)
    found[high & stands], found[low & ~stands] = 1, -1
    return found


def _run(inputs: Inputs, parameters: Values, progress: Progress) -> dict[str, Layer]:
    ground = inputs["ground"]
    area = ground.cell_m[0] * ground.cell_m[1]
    asked = _Asked(
        max(LEAST_STEP_M, ROUNDED_STEPS * parameters["height_step_m"]),
        parameters["rise_m"],
        parameters["most_m2"] / area,
        ground.cell_m,
    )
    margin = round(MARGIN * math.sqrt(parameters["most_m2"]) / min(ground.cell_m))
    result = np.zeros(ground.values.shape, np.float32)
    side = max(PART_CELLS, 4 * margin)
    squares = list(product(_spans(len(result), side, margin), _spans(len(result[0]), side, margin)))
    for number, (rows, cols) in enumerate(squares, 1):
        values = np.ascontiguousarray(ground.values[rows.outer, cols.outer], np.float32)
        result[rows.inner, cols.inner] = _marked(values, asked)[rows.within, cols.within]
        progress("raised ground", number / len(squares))
    return {"raised": Layer(result, "1", "Stands above or lies below its surroundings, in walls", ground.cell_m)}


class _Asked(NamedTuple):
    """least_m, a wall's height between neighbours; rise_m; most, cells of the largest roof; cell_m, (east, north) spacing."""

    least_m: float
    rise_m: float
    most: float
    cell_m: tuple[float, float]


class _Span(NamedTuple):
    """Rows or columns of a raster: those that are marked, what is looked at for them, and `within`, the former in the latter."""

    inner: slice
    outer: slice
    within: slice


def _spans(length: int, side: int, margin: int) -> list[_Span]:
    """Spans of `side` cells, the last one longer, that cover a length, each looked at with a margin."""
    starts, found = range(0, max(length // side, 1) * side, side), list[_Span]()
    for first in starts:
        last = length if first == starts[-1] else first + side
        outer = slice(max(first - margin, 0), min(last + margin, length))
        found.append(_Span(slice(first, last), outer, slice(first - outer.start, last - outer.start)))
    return found


def _marked(values: np.ndarray, asked: _Asked) -> np.ndarray:
    """1 on roofs and crowns, -1 in pits, 0 elsewhere: float32 [rows, cols]. Arguments: values [rows, cols] [m]; asked."""
    result, smallest = np.zeros(values.shape, np.float32), max(GROUND_M2 / math.prod(asked.cell_m), GROUND_CELLS)
    steep = steep_steps(values, *(np.float32(max(WALL_SLOPE * side, asked.least_m)) for side in asked.cell_m))
    if not steep.any():
        return result
    known = np.isfinite(values)
    pieces = _pieces(values, known & ~steep, smallest)
    if pieces is None:
        return result
    roof = _roofs(pieces, known, asked.rise_m, (asked.most, max(WALL_M / min(asked.cell_m), WALL_CELLS)))
    on_roof = pieces.own & _looked_up(roof, pieces.label)
    if on_roof.any():
        del pieces
        pieces = _pieces(values, known & ~steep & ~on_roof, smallest)
    if pieces is not None:
        above = np.where(known & ~pieces.own, values - pieces.height, np.float32(0))
        result[:] = _sides(above, asked.rise_m)
    result[on_roof] = 1
    return result


PROCESS = Process(
    Description(
        "raised_ground",
        "Raised ground",
        "Cuts the ground at walls steeper than 31 deg. What stands above the ground round it on nearly all sides, as roofs and crowns do "
        "in a surface model, is marked 1; what lies below the land beside it, as at a cliff or in a pit, -1.",
        reads=(LayerSpec("ground", "m", "bare ground"),),
        makes=(
            LayerSpec("raised", "1", "1 = stands in walls above what lies round it, -1 = lies below it", half=True),
        ),
        parameters=(
            supplied("height_step_m"),
            Parameter("rise_m", "how far it has to stand above", 2.0, "m", 0.1, 1e4),
            Parameter("most_m2", "largest roof", 50_000.0, "m2", 1.0, 1e9),
        ),
        source="raised-ground",
    ),
    _run,
)
