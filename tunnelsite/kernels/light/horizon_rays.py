"""Geometry of a horizontal ray crossing a square grid: which cells it meets, at what distance, with what
weights.

The surface is the WIREFRAME of the grid: heights are known at the cell centres and run straight along the
edges that join neighbouring centres north-south and east-west. A ray from a cell centre meets the wireframe
wherever it crosses a row or a column of centres; those crossings, and nothing else, are its samples. A sample
is unknown, and casts no shade, if one of the two cells at the ends of its edge is unknown or outside the data
(a ray through a centre needs that cell only). The definition has no preferred direction: it is the same after
a mirror or a quarter turn.
"""

import math
from typing import NamedTuple

import numpy as np

# Crossings closer than this (in cells) to a centre are taken as the centre itself, so that rounding in tan()
# cannot bring in a neighbour with a weight of 1e-16, which would matter if that neighbour is missing.
_SNAP = 1e-9
_DEEP = 1e30


class March(NamedTuple):
    """A ray direction seen along its major axis, the one it crosses fastest.

    `transposed`: the major axis is the columns, so the grid has to be transposed first. `ahead`: +1 or -1,
    the row step (after transposing). `side`: +1 or -1, the sign of the column drift. `drift`: columns per row
    step, 0..1.
    """

    transposed: bool
    ahead: int
    side: int
    drift: float


def march(azimuth_deg: float) -> March:
    """Split an azimuth into octant signs and a drift that is bitwise the same for mirrored directions.

    Arguments: azimuth_deg [degrees clockwise from grid north].
    Errors: ValueError if it is not a finite number.
    """
    if not math.isfinite(azimuth_deg):
        raise ValueError(f"azimuth_deg is {azimuth_deg}; expected a finite angle in degrees clockwise from grid north.")
    azimuth = float(azimuth_deg) % 360.0
    azimuth = 0.0 if azimuth >= 360.0 else azimuth  # -1e-20 % 360 rounds to 360
    folded = min(azimuth % 90.0, 90.0 - azimuth % 90.0)
    drift = 1.0 if folded == 45.0 else math.tan(math.radians(folded))
    north = azimuth <= 90.0 or azimuth >= 270.0
    east = azimuth <= 180.0
    if min(azimuth % 180.0, 180.0 - azimuth % 180.0) <= 45.0:
        return March(False, -1 if north else 1, 1 if east else -1, drift)
    return March(True, 1 if east else -1, -1 if north else 1, drift)


class Samples(NamedTuple):
    """Crossings of one ray by row step k = 1..n, as seen from any cell centre; arrays of shape [n + 1], entry
    0 unused.

    The row crossing lies on row k between columns `column` and `column + 1` (positive along the drift), with
    `weight` on the second. The column crossing, if any, lies on column `column` between rows k - 1 and k,
    with `cross_weight` on row k; `cross_weight` is -1 where there is none. `reach` and `cross_reach` are
    distances along the ray [row steps].
    """

    column: np.ndarray
    weight: np.ndarray
    reach: np.ndarray
    cross_weight: np.ndarray
    cross_reach: np.ndarray


def ray_samples(drift: float, n: int) -> Samples:
    """List where a ray crosses rows 1..n and the columns in between.

    Arguments: drift [columns per row, 0..1]; n, number of row steps.
    Return: Samples; with a drift of at most 1 there is at most one column crossing per row step.
    """
    reach = np.arange(n + 1, dtype=np.float64)
    offset = reach * drift
    column = np.floor(offset + _SNAP)
    weight = offset - column
    weight[weight < _SNAP] = 0.0
    cross_reach = np.full(n + 1, np.inf)
    np.divide(column, drift, out=cross_reach, where=(column > 0.0) & (drift > 0.0))
    # A column crossing at a cell centre is the row crossing already listed.
    listed = (cross_reach > reach - 1.0 + _SNAP) & (cross_reach < reach - _SNAP)
    cross_weight = np.where(listed, cross_reach - (reach - 1.0), -1.0)
    return Samples(column.astype(np.int64), weight, reach, cross_weight, np.where(listed, cross_reach, np.inf))


class RayPlan(NamedTuple):
    """Everything the compiled scan needs to know about one direction on one grid (after transposing).

    `shift`, `offset` [rows]: at march row p (0 = the row farthest ahead) scan line j passes column j + shift
    + offset, |offset| <= 1/2. `column`, `sight` [n + 1], [n + 1, 6]: the Samples as weight, 1/distance [1/m]
    and curvature drop [tangent], for the row crossing and then for the column crossing (0, 0 and _DEEP where there is none). `near_cells`,
    `near_factors` [m, 4], [m, 3]: the same for the near march as flat index steps to the two cells and least
    and greatest column steps; `near_count` [k]: how many of them need no more than k rows. `drop`: curvature
    [m per row step squared]. `anchor`: p + anchor counts march rows from the same start in every window of a grid.
    """

    ahead: int
    side: int
    shift: np.ndarray
    offset: np.ndarray
    column: np.ndarray
    sight: np.ndarray
    near_cells: np.ndarray
    near_factors: np.ndarray
    near_count: np.ndarray
    drop: float
    anchor: int


def scan_plan(way: March, shape: tuple[int, int], step: tuple[float, float], first_row: int, near: int) -> RayPlan:
    """Tabulate one direction for `horizon_scan.scan`.

    Arguments: way, the direction; shape, of the (transposed) grid; step = (cell_m [m], drop_per_m [1/m]);
    first_row, the grid's first row in the numbering that anchors the scan lines; near, row steps marched
    exactly.
    """
    rows, columns = shape
    step_m = step[0] * math.hypot(1.0, way.drift)
    samples = ray_samples(way.drift, max(rows, near))
    sight = np.zeros((len(samples.reach), 6), np.float32)
    crossed = samples.cross_weight >= 0.0
    sight[:, 0], sight[crossed, 3] = samples.weight, samples.cross_weight[crossed]
    sight[~crossed, 5] = _DEEP  # so that it is never a horizon
    sight[1:, 1] = 1.0 / (samples.reach[1:] * step_m)
    sight[:, 2] = step[1] * samples.reach * step_m
    sight[crossed, 4] = 1.0 / (samples.cross_reach[crossed] * step_m)
    sight[crossed, 5] = step[1] * samples.cross_reach[crossed] * step_m
    cells, factors, count = [], [], [0]
    for k in range(1, near + 1):
        a = way.side * int(samples.column[k])
        b = a + (way.side if samples.weight[k] > 0.0 else 0)
        row = way.ahead * columns * k
        if crossed[k]:
            cells.append((row - way.ahead * columns + a, row + a, a, a))
            factors.append(sight[k, 3:])
        cells.append((row + a, row + b, min(a, b), max(a, b)))
        factors.append(sight[k, :3])
        count.append(len(cells))
    place = np.arange(rows) if way.ahead < 0 else np.arange(rows)[::-1]
    line = way.side * way.ahead * way.drift * (place + first_row)
    shift = np.copysign(np.floor(np.abs(line) + 0.5), line)
    return RayPlan(
        way.ahead, way.side, shift.astype(np.int64), line - shift, samples.column, sight,
        np.array(cells, np.int64), np.array(factors, np.float32), np.array(count, np.int64), step[1] * step_m
        * step_m, first_row if way.ahead < 0 else -(first_row + rows),
    )  # fmt: skip
