"""Horizon of a surface seen from every cell of a grid, cast shadow, and the horizon all round one place."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from tunnelsite.kernels.light.horizon_rays import March, march, ray_samples, scan_plan
from tunnelsite.kernels.light.horizon_scan import NEAR_STEPS, scan, turned
from tunnelsite.kernels.light.outlines import NO_FLOOR, Outlines, flipped, outlines


@dataclass(frozen=True)
class Rays:
    """How rays run over the grid.

    `drop_per_m` [1/m]: a target at distance d looks lower by drop_per_m * d^2; 0 is a flat Earth, see
    `earth_drop_per_m`. `origin`: row and column of the grid's first cell in a larger grid of which it is a
    window; it anchors the scan lines, so that a window with a wide enough margin gets the larger grid's own
    numbers. `lift_m`: height of the eyes above the observers handed in, so that bare ground can be handed in as it is.
    """

    drop_per_m: float = 0.0
    origin: tuple[int, int] = (0, 0)
    lift_m: float = 0.0


FLAT_EARTH = Rays()


def earth_drop_per_m(refraction_coefficient: float = 0.13, earth_radius_m: float = 6_371_000.0) -> float:
    """Apparent drop of a distant target by the Earth's curvature less refraction, per distance squared [1/m].

    Arguments: refraction_coefficient k (0.13 [@refraction-gauss]);
    earth_radius_m (mean radius [@earth-radius-iugg]).
    Return: (1 - k) / (2 R). A convex hull still finds the steepest sight: with c the drop and s the place
    along a line, (z_j - z_i - c (s_j - s_i)^2) / (s_j - s_i) = (w_j - w_i) / (s_j - s_i) + 2 c s_i with w = z
    - c s^2, and the last term is the same for every target.
    Errors: ValueError if the radius is not positive.
    """
    if not earth_radius_m > 0.0:
        raise ValueError(f"earth_radius_m is {earth_radius_m}; expected a positive radius in metres.")
    return (1.0 - refraction_coefficient) / (2.0 * earth_radius_m)


def grid_pair(surface: np.ndarray, observer: np.ndarray, cell_m: float) -> tuple[np.ndarray, np.ndarray]:
    """Check a surface and its observers; return both as C-ordered float32, copied only where they are not.

    Errors: ValueError if they are not 2-D of one shape, are empty, or the cell is not positive.
    """
    if np.ndim(surface) != 2 or np.shape(surface) != np.shape(observer):
        raise ValueError(
            f"surface has shape {np.shape(surface)} and observer {np.shape(observer)}; "
            "expected two 2-D arrays of one shape."
        )
    if 0 in np.shape(surface):
        raise ValueError(f"surface has shape {np.shape(surface)}; expected at least one cell.")
    if not (math.isfinite(cell_m) and cell_m > 0.0):
        raise ValueError(f"cell_m is {cell_m}; expected a positive cell size in metres.")
    return np.ascontiguousarray(surface, np.float32), np.ascontiguousarray(observer, np.float32)


class HorizonLoss(NamedTuple):
    """What horizons take away, see `horizon_scan.add_losses`: look_up uint16 [nodes, tables]; free, the greatest tangent that takes
    nothing; flipped, whether losses are of the grid before it was turned; losses uint16 [rows, columns, tables]."""

    look_up: np.ndarray
    free: np.float32
    flipped: bool
    losses: np.ndarray


class Seen(NamedTuple):
    """Surface and observers from `grid_pair`, turned as a March asks, the observers' window (top, bottom, left, right) of the surface,
    and the outlines on the window or None."""

    surface: np.ndarray
    observer: np.ndarray
    window: tuple[int, int, int, int]
    outlines: Outlines | None = None


def scan_ahead(seen: Seen, cell_m: float, way: March, rays: Rays, tally: HorizonLoss) -> None:
    """Tally what the horizons along one March take away (see `horizon_scan.scan`)."""
    _scanned(seen, cell_m, way, rays, (tally, np.empty((0, 0), np.float32)))


def tangents_ahead(seen: Seen, cell_m: float, way: March, rays: Rays) -> np.ndarray:
    """Horizon tangents along one March, float32 [rows, cols], turned back."""
    out = np.empty_like(seen.observer)
    nothing = HorizonLoss(np.empty((0, 0), np.uint16), np.float32(0.0), False, np.empty((0, 0, 0), np.uint16))
    _scanned(seen, cell_m, way, rays, (nothing, out))
    return turned(out) if way.transposed else out


def _scanned(seen, cell_m, way, rays, wanted) -> None:
    surface, observer, window, drawn = seen
    near = min(NEAR_STEPS, max(surface.shape[0] - 1, 1))
    first_row = rays.origin[1] if way.transposed else rays.origin[0]
    plan = scan_plan(way, surface.shape, (float(cell_m), float(rays.drop_per_m)), int(first_row), near)
    tally, tangents = wanted
    floor = NO_FLOOR
    if drawn is not None:
        long = math.hypot(1.0, way.drift)
        direction = (way.ahead / long, way.side * way.drift / long)
        floor = drawn.towards(direction, observer, (float(rays.lift_m), float(cell_m), float(rays.drop_per_m)))
    lift = np.float32(rays.lift_m)
    scan(surface, observer, window, lift, plan, near, tuple(floor), tuple(tally), tangents)


def seen_by(
    pair: tuple[np.ndarray, np.ndarray],
    edges: np.ndarray | None,
    window: tuple[int, int, int, int] | None = None,
    *,
    turn: bool,
    pause: Callable[[], None] = lambda: None,
) -> Seen:
    """A pair from `grid_pair` with the edges of `horizon_tangent` (None: no outlines) on it, transposed or not; of the observers only
    those of the window (top, bottom, left, right), or all. pause(), as in `horizon_scan.turned`."""
    surface, observer = pair
    top, bottom, left, right = window = window or (0, observer.shape[0], 0, observer.shape[1])
    eyes = np.ascontiguousarray(observer[top:bottom, left:right])
    if edges is not None:
        edges = edges - np.array([top, left, top, left, 0, 0])
    if turn:
        first = turned(surface, pause)
        whole = observer is surface and eyes.shape == observer.shape
        eyes = first if whole else turned(eyes)
        surface, window = first, (left, right, top, bottom)
        edges = None if edges is None else flipped(edges)
    return Seen(surface, eyes, window, None if edges is None or not len(edges) else outlines(edges, eyes.shape))


def horizon_tangent(
    surface: np.ndarray, observer: np.ndarray, cell_m: float, azimuth_deg: float, rays: Rays = FLAT_EARTH,
    edges: np.ndarray | None = None,
) -> np.ndarray:  # fmt: skip
    """Tangent of the horizon's elevation angle towards one azimuth, seen from every cell.

    Arguments: surface [rows, cols] [m], what casts shade (NaN: unknown, casts none); observer [rows, cols]
    [m], height of the eye above the same datum (NaN: result NaN; may lie below the surface, for a cell never
    shades itself); cell_m [m]; azimuth_deg [degrees clockwise from grid north]; rays, curvature and
    anchoring; edges, outlines of what stands (`outlines.Outlines`), where known, which count besides the surface near them.
    Return: float32 [rows, cols], tan(horizon elevation angle), 0 or more. Any distance within the data
    counts. Beyond the data the land is taken to reach an endlessly distant level horizon, so the least answer
    is 0: looking down into a valley or off the edge of the data hides no sun that stands above the
    horizontal.
    Errors: ValueError on shapes, cell size or azimuth.
    Source: the surface is the wireframe defined in `horizon_rays`. The result is exact on it within 49 row steps
    (NEAR_STEPS, less a block of rows) and, beyond, on the two scan lines on either side of the cell's ray,
    interpolated (see `horizon_scan`).
    """
    pair, way = grid_pair(surface, observer, cell_m), march(azimuth_deg)
    return tangents_ahead(seen_by(pair, edges, turn=way.transposed), cell_m, way, rays)


def cast_shadow(
    surface: np.ndarray, observer: np.ndarray, cell_m: float, sun_azimuth_deg: float, sun_elevation_deg:
    float, rays: Rays = FLAT_EARTH,
) -> np.ndarray:  # fmt: skip
    """Whether the sun's centre stands below the horizon of each cell.

    Arguments: as `horizon_tangent`; sun_elevation_deg [degrees above the horizontal, -90..90], as seen (with
    refraction).
    Return: bool [rows, cols]; True everywhere for a sun at or below 0. False where the observer is NaN (not
    known to be in shadow: mask those cells with the observer).
    Errors: ValueError on shapes, cell size, azimuth or elevation.
    """
    if not -90.0 <= sun_elevation_deg <= 90.0:
        raise ValueError(f"sun_elevation_deg is {sun_elevation_deg}; expected -90 to 90 degrees above the horizontal.")
    if sun_elevation_deg <= 0.0:
        march(sun_azimuth_deg)
        return ~np.isnan(grid_pair(surface, observer, cell_m)[1])
    tangent = horizon_tangent(surface, observer, cell_m, sun_azimuth_deg, rays)
    return tangent > math.tan(math.radians(sun_elevation_deg))


class HorizonProfile(NamedTuple):
    """The horizon round one place: arrays [n azimuths], NaN distance and elevation where nothing rises above
    level.

    `horizon_deg` [degrees, 0 or more], `distance_m` and `blocker_m` (elevation of the surface there) [m].
    """

    horizon_deg: np.ndarray
    distance_m: np.ndarray
    blocker_m: np.ndarray


def horizon_profile(
    surface: np.ndarray,
    row: int,
    col: int,
    eye: float,
    cell_m: float,
    azimuths_deg: np.ndarray,
    rays: Rays = FLAT_EARTH,
) -> HorizonProfile:
    """Horizon seen from one cell towards many azimuths, each ray marched exactly through all the data.

    Arguments: surface [rows, cols] [m]; row, col of the observer's cell; eye, its height [m above the same
    datum]; cell_m [m]; azimuths_deg [n] [degrees clockwise from grid north]; rays, of which only drop_per_m
    matters here.
    Errors: ValueError if the cell lies outside the surface or eye is not finite, or as `horizon_tangent`.
    """
    surface, _ = grid_pair(surface, surface, cell_m)
    if not (0 <= row < surface.shape[0] and 0 <= col < surface.shape[1]):
        raise ValueError(f"cell ({row}, {col}) lies outside a surface of shape {surface.shape}.")
    if not math.isfinite(eye):
        raise ValueError(f"eye is {eye}; expected a height in metres.")
    azimuths = np.atleast_1d(np.asarray(azimuths_deg, np.float64))
    found = np.array([_ray_horizon(surface, (row, col), eye, march(a), (cell_m, rays.drop_per_m)) for a in azimuths])
    found = found.reshape(len(azimuths), 3)
    return HorizonProfile(np.degrees(np.arctan(found[:, 0])), found[:, 1], found[:, 2])


def _ray_horizon(surface, place, eye, way, step):
    """Steepest (tangent, distance, height) on one ray; (0, NaN, NaN) if nothing rises above level."""
    grid, (row, column) = (surface.T, place[::-1]) if way.transposed else (surface, place)
    rows, _columns = grid.shape
    n = row if way.ahead < 0 else rows - 1 - row
    s = ray_samples(way.drift, max(n, 1))
    k = np.arange(1, n + 1)
    first = column + way.side * s.column[1 : n + 1]
    second = first + way.side * (s.weight[1 : n + 1] > 0.0)
    on_row = _edge(grid, (row + way.ahead * k, first), (row + way.ahead * k, second), s.weight[1 : n + 1])
    before = row + way.ahead * (k - 1)
    on_column = _edge(grid, (before, first), (row + way.ahead * k, first), s.cross_weight[1 : n + 1])
    height = np.concatenate([on_row, on_column])
    reach = np.concatenate([s.reach[1 : n + 1], s.cross_reach[1 : n + 1]]) * (step[0] * math.hypot(1.0, way.drift))
    known = np.isfinite(height) & np.isfinite(reach)
    height, reach = height[known], reach[known]
    tangent = (height - eye) / reach - step[1] * reach
    if tangent.size == 0 or tangent.max() <= 0.0:
        return 0.0, math.nan, math.nan
    best = int(tangent.argmax())
    return tangent[best], reach[best], height[best]


def _edge(grid, a, b, weight):
    """Heights on the edges between cells a and b, NaN where either is outside, unknown, or the weight is
    negative."""
    columns = grid.shape[1]
    inside = (a[1] >= 0) & (a[1] < columns) & (b[1] >= 0) & (b[1] < columns) & (weight >= 0.0)
    height = np.full(weight.shape, np.nan)
    za = grid[a[0][inside], a[1][inside]].astype(np.float64)
    zb = grid[b[0][inside], b[1][inside]].astype(np.float64)
    height[inside] = za + weight[inside] * (zb - za)
    return height
