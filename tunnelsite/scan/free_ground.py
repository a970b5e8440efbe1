"""How far the ground beside a house and before its ends is free: for a second house of the same size, and to turn at the door.

Plain geometry in along and across metres; how the ground slopes there is not looked at.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
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
    """What may be used round a house: frame; area, the parcel inside its setback; bars, what may not be touched; tall_m, the height
    [m] of the tallest growth that may stand there."""

    frame: Frame
    area: shapely.Geometry
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


def free_m(land: Land, start: tuple[float, float, float, float], way: Way, reach_m: float) -> float:
    """How far [m] a rectangle may be pushed in one direction before what it sweeps touches anything, up to `reach_m`.

    Arguments: land; start, west, south, east, north [m] of the rectangle, which itself may lie anywhere; way; reach_m.
    """
    axis, sign = way
    edge = start[axis + 2] if sign > 0 else start[axis]
    swept = np.array(start)
    swept[[axis, axis + 2]] = (edge, edge + reach_m) if sign > 0 else (edge - reach_m, edge)
    swept[1 - axis] += FIT_M  # touching is allowed, and a millimetre
    swept[3 - axis] -= FIT_M
    box = shapely.box(*swept)
    blocked = [shapely.difference(box, land.area), *(_part(box, bar) for bar in land.bars)]
    edges = np.array([*map(shapely.bounds, blocked), _unfit_cells(land, swept)])
    near = edges[:, axis] - edge if sign > 0 else edge - edges[:, axis + 2]
    return float(np.clip(np.nanmin(np.append(near, reach_m)), 0.0, reach_m))


def _part(box: shapely.Geometry, bar: Bar) -> shapely.Geometry:
    """The part of a box that is nearer to a bar than it may be."""
    near = bar.source[shapely.dwithin(bar.source, box, bar.distance_m * OUTSIDE)]
    return shapely.intersection(box, widened(near, bar.distance_m)) if len(near) else shapely.Polygon()


def _unfit_cells(land: Land, swept: np.ndarray) -> np.ndarray:
    """West, south, east and north [m] of the cells in a rectangle that lie off the data or hold something tall; NaN where none does."""
    frame, grid = land.frame, land.frame.grid
    top, left = ((np.array([grid.north_m - swept[3], swept[0] - grid.west_m])) // grid.cell_m).astype(int)
    bottom, right = (np.ceil(np.array([grid.north_m - swept[1], swept[2] - grid.west_m]) / grid.cell_m)).astype(int)
    rows, cols = slice(max(top, 0), min(bottom, grid.rows)), slice(max(left, 0), min(right, grid.cols))
    blocks = [  # beyond each side of the grid, where it is crossed
        (top, min(bottom, 0), left, right), (max(top, grid.rows), bottom, left, right),
        (top, bottom, left, min(right, 0)), (top, bottom, max(left, grid.cols), right),
    ]  # fmt: skip
    if rows.start < rows.stop and cols.start < cols.stop:
        unfit = np.isnan(frame.ground[rows, cols])
        if "standing_m" in frame.layers:
            unfit |= frame.layers["standing_m"][rows, cols] > land.tall_m
        down, over = np.flatnonzero(unfit.any(axis=1)) + rows.start, np.flatnonzero(unfit.any(axis=0)) + cols.start
        blocks += [(down[0], down[-1] + 1, over[0], over[-1] + 1)] if len(down) else []
    bad = np.array([one for one in blocks if one[0] < one[1] and one[2] < one[3]])
    if not len(bad):
        return np.full(4, np.nan)
    first, stop = bad[:, [0, 2]].min(axis=0), bad[:, [1, 3]].max(axis=0)
    edges = (first[1], -stop[0], stop[1], -first[0])
    return np.tile((grid.west_m, grid.north_m), 2) + np.array(edges) * grid.cell_m


def next_house(land: Land, centre_m: tuple[float, float], sizes: tuple[House, Pad], clearance_m: float) -> NextHouse:
    """Room beside a house and at its ends for a second one of the same size, parallel to it.

    Arguments: land; centre_m, along and across of the house's middle; sizes, house and pad; clearance_m, from the house to the
    second pad. No two pads overlap.
    """
    house, pad = sizes
    apron = (pad.width_m - house.width_m) / 2
    between = max(clearance_m, apron)
    needs = {1: between + pad.width_m, 0: between + pad.length_m}
    start = rectangle_at(centre_m, pad.length_m, pad.width_m)
    free = {}
    for axis, need in needs.items():
        reach = max(FREE_M, need) - apron
        free[axis] = apron + max(free_m(land, start, Way(axis, sign), reach) for sign in (1, -1))
    beside, end = free[1], free[0]
    return NextHouse(min(beside, FREE_M), min(end, FREE_M), beside >= needs[1] - FIT_M, end >= needs[0] - FIT_M)


def door_room_m(land: Land, centre_m: tuple[float, float], house: House, east_end: bool | None) -> float:
    """Free ground [m] before one end of a house, as wide as it is, up to 30 m.

    Arguments: land; centre_m, along and across of its middle; house; east_end, whether it is the end that the ridge points to,
    None = the one with more room.
    """
    signs = (1, -1) if east_end is None else (1,) if east_end else (-1,)
    start = rectangle_at(centre_m, house.length_m, house.width_m)
    return max(free_m(land, start, Way(0, sign), TURN_M) for sign in signs)


def rectangle_at(centre_m: tuple[float, float], length_m: float, width_m: float) -> tuple[float, float, float, float]:
    """(west, south, east, north) [m] of a rectangle in along and across."""
    along, across = centre_m
    return along - length_m / 2, across - width_m / 2, along + length_m / 2, across + width_m / 2
