"""How far the ground beside a house and before its ends is free: for a second house of the same size, and to turn at the door.

Plain geometry in along and across metres; how the ground slopes there is not looked at.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
import shapely

from tunnelsite.core.house import House, Pad
from tunnelsite.core.site import Frame
from tunnelsite.scan.open_ground import OUTSIDE, Bar, widened
from tunnelsite.scan.tight_ground import FIT_M

TURN_M = 30.0  # more than enough to turn a truck; common practice, no source
FREE_M = 100.0  # wider ground is given as this


class Way(NamedTuple):
    """A direction from a house: axis, 0 = along the ridge, 1 = across it; sign, +1 = to the end it points to, or to its left."""

    axis: int
    sign: int


@dataclass(frozen=True)
class Land:
    """What may be used round each of some houses: frame; area, polygons [n], its parcel inside the setback; bars, what may not be
    touched; tall_m, the height [m] of the tallest growth that may stand there."""

    frame: Frame
    area: np.ndarray
    bars: Sequence[Bar]
    tall_m: float


@dataclass(frozen=True)
class NextHouse:
    """Room for a second house of the same size. beside_m, end_m: free ground from the wall to the wider side, and to the longer end,
    over the whole length or width of the pad, up to 100 m; fits_beside, fits_end: whether a second pad fits there."""

    beside_m: float
    end_m: float
    fits_beside: bool
    fits_end: bool

    @property
    def words(self) -> str:
        """Where it fits."""
        ways = [name for name, fits in (("beside", self.fits_beside), ("end to end", self.fits_end)) if fits]
        return " or ".join(ways) or "none"


def free_m(land: Land, start: np.ndarray, way: Way, reach_m: float) -> np.ndarray:
    """How far [m] each rectangle may be pushed in one direction before what it sweeps touches anything, up to `reach_m`: float64 [n].

    Arguments: land; start, float64 [n, 4], west, south, east, north [m] of the rectangles, which themselves may lie anywhere; way;
    reach_m.
    """
    axis, sign = way
    edge = start[:, axis + 2 if sign > 0 else axis]
    swept = start.copy()
    swept[:, axis] = edge if sign > 0 else edge - reach_m
    swept[:, axis + 2] = edge + reach_m if sign > 0 else edge
    swept[:, 1 - axis] += FIT_M  # touching is allowed, and a millimetre
    swept[:, 3 - axis] -= FIT_M
    boxes = shapely.box(*swept.T)
    blocked = [shapely.difference(boxes, land.area), *(_parts(boxes, bar) for bar in land.bars)]
    edges = np.array([*map(shapely.bounds, blocked), _unfit_cells(land, swept)])
    near = edges[..., axis] - edge if sign > 0 else edge - edges[..., axis + 2]
    found: np.ndarray = np.clip(np.fmin.reduce(near, axis=0, initial=reach_m), 0.0, reach_m)
    return found


def _parts(boxes: np.ndarray, bar: Bar) -> np.ndarray:
    """The part of each box that is nearer to a bar than it may be."""
    found = np.full(len(boxes), shapely.Polygon(), object)
    which, near = bar.tree.query(boxes, predicate="dwithin", distance=bar.distance_m * OUTSIDE)
    for k in np.unique(which).tolist():
        shapes = bar.source[np.sort(near[which == k])]
        found[k] = shapely.intersection(boxes[k], widened(shapes, bar.distance_m))
    return found


def _unfit_cells(land: Land, swept: np.ndarray) -> np.ndarray:
    """West, south, east and north [m] of the cells in each rectangle that lie off the data or hold something tall, float64 [n, 4];
    NaN where none does."""
    grid = land.frame.grid
    first = np.floor_divide(np.column_stack([grid.north_m - swept[:, 3], swept[:, 0] - grid.west_m]), grid.cell_m)
    stop = np.ceil(np.column_stack([grid.north_m - swept[:, 1], swept[:, 2] - grid.west_m]) / grid.cell_m)
    found = np.full(swept.shape, np.nan)
    for k, window in enumerate(np.column_stack([first, stop]).astype(int).tolist()):
        bad = _unfit_blocks(land, *window)
        if bad:
            (top, left), (bottom, right) = np.min(bad, axis=0)[:2], np.max(bad, axis=0)[2:]
            edges = np.array((left, -bottom, right, -top)) * grid.cell_m
            found[k] = np.tile((grid.west_m, grid.north_m), 2) + edges
    return found


def _unfit_blocks(land: Land, top: int, left: int, bottom: int, right: int) -> list[tuple[int, int, int, int]]:
    """First row and column, past-the-last row and column of the blocks that hold all unfit cells of a window, which may lie anywhere."""
    frame, grid = land.frame, land.frame.grid
    high, low, west, east = max(top, 0), min(bottom, grid.rows), max(left, 0), min(right, grid.cols)
    blocks = []
    if (high, low, west, east) != (top, bottom, left, right):
        beyond = [  # each side of the grid, where it is crossed
            (top, left, min(bottom, 0), right), (max(top, grid.rows), left, bottom, right),
            (top, left, bottom, min(right, 0)), (top, max(left, grid.cols), bottom, right),
        ]  # fmt: skip
        blocks = [one for one in beyond if one[0] < one[2] and one[1] < one[3]]
    if high < low and west < east:
        unfit = np.isnan(frame.ground[high:low, west:east])
        if "standing_m" in frame.layers:
            unfit |= frame.layers["standing_m"][high:low, west:east] > land.tall_m
        if unfit.any():
            down, over = np.flatnonzero(unfit.any(axis=1)).tolist(), np.flatnonzero(unfit.any(axis=0)).tolist()
            blocks.append((high + down[0], west + over[0], high + down[-1] + 1, west + over[-1] + 1))
    return blocks


def next_houses(land: Land, centres_m: np.ndarray, sizes: tuple[House, Pad], clearance_m: float) -> list[NextHouse]:
    """Room beside each house and at its ends for a second one of the same size, parallel to it.

    Arguments: land; centres_m, float64 [n, 2], along and across of the houses' middles; sizes, house and pad; clearance_m, from the
    house to the second pad. No two pads overlap.
    """
    house, pad = sizes
    apron = (pad.width_m - house.width_m) / 2
    between = max(clearance_m, apron)
    needs = {1: between + pad.width_m, 0: between + pad.length_m}
    start = rectangles_at(centres_m, pad.length_m, pad.width_m)
    free = {}
    for axis, need in needs.items():
        reach = max(FREE_M, need) - apron
        free[axis] = apron + np.maximum(*(free_m(land, start, Way(axis, sign), reach) for sign in (1, -1)))
    return [
        NextHouse(min(beside, FREE_M), min(end, FREE_M), beside >= needs[1] - FIT_M, end >= needs[0] - FIT_M)
        for beside, end in zip(free[1].tolist(), free[0].tolist(), strict=True)
    ]


def door_rooms_m(land: Land, centres_m: np.ndarray, house: House, east_end: Sequence[bool | None]) -> np.ndarray:
    """Free ground [m] before one end of each house, as wide as it is, up to 30 m: float64 [n].

    Arguments: land; centres_m, float64 [n, 2], along and across of their middles; house; east_end, by house, whether it is the end
    that the ridge points to, None = the one with more room.
    """
    start = rectangles_at(centres_m, house.length_m, house.width_m)
    found = np.zeros(len(start))
    for sign, other in ((1, False), (-1, True)):
        mine = np.array([end is not other for end in east_end], bool)
        here = replace(land, area=land.area[mine])
        found[mine] = np.maximum(found[mine], free_m(here, start[mine], Way(0, sign), TURN_M))
    return found


def rectangles_at(centres_m: np.ndarray, length_m: float, width_m: float) -> np.ndarray:
    """West, south, east and north [m] of rectangles in along and across, float64 [n, 4]. Arguments: centres_m, float64 [n, 2]."""
    half = np.array([length_m / 2, width_m / 2])
    return np.hstack([centres_m - half, centres_m + half])
