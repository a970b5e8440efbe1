"""How far downwind of what stands a house lies, along one direction of wind: whether a snow drift can reach it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from tunnelsite.core.house import House
from tunnelsite.core.site import Frame

LEAST_M = 3.0  # lower things are left out, as by the criterion `windbreak`
DRIFT_HEIGHTS = 30.0  # how far a full drift reaches behind a fence that is half open [@drift-tabler]


@dataclass(frozen=True)
class Lee:
    """What stands upwind: away_m, from it to the house along the wind; heights, the same in its own heights. NaN and 30 where nothing
    in the data is so near."""

    away_m: float
    heights: float


@dataclass(frozen=True)
class Wind:
    """What a lee is judged by: from_deg, where the wind comes from, clockwise from true north; tallest_m, the tallest thing that
    stands in the data [m]."""

    from_deg: float
    tallest_m: float


def lee(frame: Frame, house: House, centre_m: tuple[float, float], wind: Wind) -> Lee:
    """The thing upwind of a house that is nearest in its own heights, up to 30 of them.

    Rays run upwind from every half cell of the side that the wind meets; what stands on a cell's whole area counts from where the
    ray first meets it.

    Args:
        frame: with the layer `standing_m`. house. centre_m: along and across [m] of its middle.
        wind: where it comes from, and the tallest thing in the data.

    Source: Tabler (1980), length of the lee drift; the ray is plain geometry.
    """
    grid = frame.grid
    if wind.tallest_m < LEAST_M:
        return Lee(math.nan, DRIFT_HEIGHTS)
    turn = math.radians(wind.from_deg - grid.bearing_deg)  # clockwise from the ridge
    up = np.array([math.cos(turn), -math.sin(turn)])  # along, across
    side = np.array([-up[1], up[0]])
    half = np.array([house.length_m, house.width_m]) / 2
    step = grid.cell_m / 2
    lines = _spread(float(np.abs(side) @ half), step)
    start = _exit(lines[:, None] * side, up, half)
    far = np.arange(step / 2, DRIFT_HEIGHTS * wind.tallest_m + step, step)
    distance = np.broadcast_to(far, (len(lines), len(far)))
    along = centre_m[0] + lines[:, None] * side[0] + (start[:, None] + far) * up[0]
    across = centre_m[1] + lines[:, None] * side[1] + (start[:, None] + far) * up[1]
    if frame.whole is not None:  # trees beyond a window break the wind too
        frame = frame.whole
        along, across = frame.grid.from_map(*grid.to_map(along, across))
        grid = frame.grid
    standing = frame.layers["standing_m"]
    row = np.floor((grid.north_m - across) / grid.cell_m).astype(np.int64)
    col = np.floor((along - grid.west_m) / grid.cell_m).astype(np.int64)
    inside = (row >= 0) & (row < grid.rows) & (col >= 0) & (col < grid.cols)
    tall = standing[row[inside], col[inside]]
    counts = tall >= LEAST_M  # NaN does not
    heights = distance[inside][counts] / tall[counts]
    if not len(heights) or heights.min() >= DRIFT_HEIGHTS:
        return Lee(math.nan, DRIFT_HEIGHTS)
    nearest = int(np.argmin(heights))
    return Lee(float(distance[inside][counts][nearest]), float(heights[nearest]))


def _spread(reach: float, step: float) -> np.ndarray:
    """Places [m] from -reach to reach, no farther apart than a step, float64 [n]."""
    count = max(math.ceil(2 * reach / step), 1)
    return -reach + (np.arange(count) + 0.5) * (2 * reach / count)


def _exit(start: np.ndarray, way: np.ndarray, half: np.ndarray) -> np.ndarray:
    """How far [m] lines through a rectangle round the origin run until they leave it. Arguments: start, float64 [n, 2], inside or
    beside it on the way's normal; way, [2], of length 1; half, [2], half its sides."""
    with np.errstate(divide="ignore", invalid="ignore"):
        leaves = np.where(way == 0, np.inf, (np.copysign(half, way) - start) / way)
    found: np.ndarray = leaves.min(axis=1)
    return found
