"""Shares of beam energy and of sky that the horizon leaves free, from one pass over the azimuths.

A table holds, for each azimuth sector and for horizons from level to overhead, how much of a quantity (beam
energy, sky) comes from above that horizon. Its nodes are evenly spaced in the SINE of the horizon's
elevation: fine near the level, where horizons are, and a sine costs one square root from a tangent where an
angle costs an arctangent.

What horizons take away is counted in whole units of a table's 1 / UNITS, of which each cell holds 2 bytes a table, and is looked up at
the nearest of nodes four times as close, 0.014 degrees apart near the level.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np

from tunnelsite.kernels.light.horizon import (
    FLAT_EARTH,
    HorizonLoss,
    Rays,
    Seen,
    grid_pair,
    scan_ahead,
    seen_by,
    tangents_ahead,
)
from tunnelsite.kernels.light.horizon_rays import march
from tunnelsite.kernels.light.horizon_scan import LANES, add_losses
from tunnelsite.kernels.shared import shared

UNITS = 65_000  # of a table; what is left of 16 bits is for roundings of more than 1000 directions
NODES = 1025  # 0.056 degrees apart near the level
_FINER = 4
_WIDEST_GAP_DEG = 45.0 + 1e-9  # eight even azimuths may miss 45 by a rounding


def sector_tables(
    sun_azimuth_deg: np.ndarray, sun_elevation_deg: np.ndarray, energy: np.ndarray, azimuths_deg: np.ndarray
) -> np.ndarray:
    """Tables of the energy received from sun positions above a horizon, by azimuth sector.

    Arguments: sun_azimuth_deg, sun_elevation_deg [n suns] [degrees; clockwise from the same north as the
    azimuths, above the horizontal]; energy [n suns] or [n tables, n suns] [any unit, 0 or more, e.g. beam
    normal irradiance times sin(elevation) times time step]; azimuths_deg [n azimuths], in any order,
    distinct. Suns at or below 0 count for nothing.
    Return: float64 [n tables, n azimuths, NODES]; entry i: a horizon elevation of asin(i / (NODES - 1)).
    A sun between two azimuths is split between them in proportion to nearness: against a shadow cast for each
    sun position this is 3 to 13 % closer than giving it to the nearer one, and the share varies smoothly with
    the season. The spacing of the azimuths matters far more (see the tests).
    Errors: ValueError on shapes, negative or non-finite energy, or a sun in a gap of more than 45 degrees
    between azimuths.
    """
    azimuth, elevation = np.asarray(sun_azimuth_deg, np.float64), np.asarray(sun_elevation_deg, np.float64)
    energy = np.atleast_2d(np.asarray(energy, np.float64))
    if azimuth.ndim != 1 or elevation.shape != azimuth.shape or energy.ndim != 2 or energy.shape[1:] != azimuth.shape:
        raise ValueError(
            f"sun azimuth, elevation and energy have shapes {azimuth.shape}, {elevation.shape} and "
            f"{energy.shape}; expected [n], [n] and [n] or [tables, n]."
        )
    if not np.all(np.isfinite(energy)) or np.any(energy < 0.0):
        raise ValueError("energy has negative or non-finite values; expected 0 or more for every sun position.")
    order, sectors, gap = _circle(azimuths_deg)
    sine = np.sin(np.radians(elevation))
    up = (sine > 0.0) & energy.any(axis=0)
    azimuth, sine, energy = azimuth[up] % 360.0, sine[up], energy[:, up]
    left = np.searchsorted(sectors, azimuth, side="right") - 1  # -1: before the first, hence after the last
    if np.any(gap[left] > _WIDEST_GAP_DEG):
        lost = azimuth[gap[left] > _WIDEST_GAP_DEG][0]
        raise ValueError(
            f"the sun at azimuth {lost:.1f} lies in a gap of more than 45 degrees; add azimuths around it."
        )
    part = ((azimuth - sectors[left]) % 360.0) / gap[left]
    # Node i lies below the sun if i < sine * (NODES - 1).
    node = np.ceil(sine * (NODES - 1)).astype(np.int64) - 1
    tables = np.zeros((len(energy), len(sectors), NODES))
    for table, amount in zip(tables, energy, strict=True):
        np.add.at(table, (order[left], node), amount * (1.0 - part))
        np.add.at(table, (order[(left + 1) % len(order)], node), amount * part)
    return np.cumsum(tables[:, :, ::-1], axis=2)[:, :, ::-1].copy()


@dataclass(frozen=True)
class Scene:
    """Who sees what.

    `surface`, `observer` [rows, cols] [m], `cell_m`, `rays`, `edges`: as `horizon_tangent`; `window` (top, bottom, left, right),
    if given, holds the observers that count. `beyond(k, tangent, first)`, if given, raises the tangents towards azimuth k of some
    observers, the first of them in row and column `first`, in place to those of land that the surface does not hold
    (`far_horizon.raise_to_far`).
    """

    surface: np.ndarray
    observer: np.ndarray
    cell_m: float
    rays: Rays = FLAT_EARTH
    beyond: Callable[[int, np.ndarray, tuple[int, int]], None] | None = None
    edges: np.ndarray | None = None
    window: tuple[int, int, int, int] | None = None


def folded_share(
    surface: np.ndarray, observer: np.ndarray, cell_m: float, azimuths_deg: np.ndarray, tables: np.ndarray,
    rays: Rays = FLAT_EARTH, beyond: Callable[[int, np.ndarray, tuple[int, int]], None] | None = None,
) -> np.ndarray:  # fmt: skip
    """Share of each table that the horizon leaves free at every cell.

    Arguments: surface, observer, cell_m, rays, beyond as in `Scene`; azimuths_deg [n azimuths] and tables [n tables, n azimuths, NODES] as
    built for them by `sector_tables` (np.concatenate stacks several).
    Return: float32 [n tables, rows, cols], sum_k E_k(h_k) / sum_k E_k(0), 0..1; NaN where the observer is NaN
    or the table holds nothing.
    Errors: ValueError on shapes, cell size or azimuths.
    """
    tables = _checked(tables, np.size(azimuths_deg))
    totals = _totals(tables)
    pair = grid_pair(surface, observer, cell_m)
    losses = no_losses(pair[0].shape, len(tables))
    scene = Scene(*pair, cell_m, rays, beyond)
    add_folded(scene, azimuths_deg, np.nan_to_num(tables / totals[:, None, None]), losses)
    shares = np.float32(1.0) - np.moveaxis(losses[:, :, : len(tables)], 2, 0) / np.float32(UNITS)
    shares[np.isnan(totals)] = np.nan
    shares[:, np.isnan(pair[1])] = np.nan
    return shares


def add_folded(
    scene: Scene, azimuths_deg: np.ndarray, tables: np.ndarray, losses: np.ndarray,
    pause: Callable[[float], None] = lambda done: None,
) -> None:  # fmt: skip
    """Add what the horizon of every cell takes away of each table, one azimuth after the other.

    Arguments: scene; azimuths_deg [n azimuths], tables [n tables, n azimuths, NODES] as for `folded_share`, of which each holds 1 in all at
    most; losses, from `no_losses` [1 / UNITS], changed in place; pause(share done), called after each azimuth and while arrays
    are turned: large arrays that live in files may leave memory then.
    Each azimuth is folded in as it is scanned, so that besides surface and observer and a turned copy of each memory is the losses
    alone, however many the azimuths (two arrays more with `beyond`). An azimuth for which all tables are 0 is not computed.
    Errors: ValueError on shapes, cell size or azimuths.
    """
    pair = grid_pair(scene.surface, scene.observer, scene.cell_m)
    azimuths = np.asarray(azimuths_deg, np.float64)
    tables = _checked(tables, azimuths.size)
    ways = [march(a) for a in azimuths.ravel()]
    level, across = (
        [k for k, way in enumerate(ways) if way.transposed == side and tables[:, k, 0].any()] for side in (False, True)
    )
    count = max(len(level) + len(across), 1)

    def add(k: int, seen: Seen, flipped: bool) -> None:
        tally = HorizonLoss(*_taken(tables[:, k], losses.shape[2]), flipped, losses)
        if scene.beyond is None:
            scan_ahead(seen, scene.cell_m, ways[k], scene.rays, tally)
            return
        tangent = tangents_ahead(seen, scene.cell_m, ways[k], scene.rays)
        scene.beyond(k, tangent, (0, 0) if scene.window is None else (scene.window[0], scene.window[2]))
        _add_rows(len(tangent), np.ascontiguousarray(tangent), tally.look_up, tally.free, losses)

    done = 0
    for turn, some in ((False, level), (True, across)):
        seen = None  # the one before goes first
        if some:
            rest = partial(pause, done / count)
            seen = seen_by(pair, scene.edges, scene.window, turn=turn, pause=rest)
        pause(done / count)
        for k in some:
            add(k, seen, turn)
            done += 1
            pause(done / count)


def no_losses(shape: tuple[int, int], tables: int) -> np.ndarray:
    """Where losses of so many tables are counted: uint16 [rows, cols, tables and what fills the last sweep]."""
    return np.zeros((*shape, -(-tables // LANES) * LANES), np.uint16)


def losses_bytes(tables: int) -> int:
    """Bytes a cell of `no_losses`."""
    return 2 * LANES * -(-tables // LANES)


def _taken(tables: np.ndarray, width: int) -> tuple[np.ndarray, np.float32]:
    """(what a horizon takes away uint16 [nodes, width] [1 / UNITS], the greatest tangent that takes nothing) of one azimuth's tables."""
    nodes = np.linspace(0.0, NODES - 1.0, _FINER * (NODES - 1) + 1)
    taken = np.zeros((len(nodes), width), np.uint16)
    for k, table in enumerate(tables):
        taken[:, k] = np.round(UNITS * (table[0] - np.interp(nodes, np.arange(NODES), table)))
    first = int(np.argmax(taken.any(axis=1)))
    sine = max(first - 0.5, 0.0) / (len(nodes) - 1)
    return taken, np.float32(sine / math.sqrt(1.0 - sine * sine) * (1.0 - 1e-6))


@shared
def _add_rows(mine, tangent, look_up, free, losses):
    for row in range(mine[0], mine[1]):
        add_losses(tangent[row], look_up, free, (row, 0, False), losses)


def darkest(losses, weights, judged):
    """What is lost of all tables, the most that is lost of a judged one, and which that is, at every cell.

    Arguments: losses uint16 [rows, cols, tables or more] [1 / UNITS]; weights float64 [tables], 1 in all; judged, numbers of the tables
        that count for the most, at least one.
    Return: uint16, uint16 [1 / UNITS], uint8 [rows, cols]; of equals the first; 255 where nothing is lost.
    """
    rows, cols, _ = losses.shape
    lost, most = np.empty((rows, cols), np.uint16), np.empty((rows, cols), np.uint16)
    which = np.full((rows, cols), 255, np.uint8)
    _darkest(rows, losses, weights, judged, (lost, most, which))
    return lost, most, which


@shared
def _darkest(mine, losses, weights, judged, out):
    lost, most, which = out
    for r in range(mine[0], mine[1]):
        for c in range(losses.shape[1]):
            taken, worst = 0.0, 0
            for t in range(weights.size):
                taken += weights[t] * losses[r, c, t]
            for t in judged:
                if losses[r, c, t] > worst:
                    worst, which[r, c] = losses[r, c, t], t
            lost[r, c], most[r, c] = min(taken + 0.5, 65_535.0), worst


def share_left(lost: np.ndarray, observer: np.ndarray) -> np.ndarray:
    """What is left, float32 0..1, of what is lost uint16 [1 / UNITS]; NaN where the observer is."""
    share = np.multiply(lost, np.float32(-1.0 / UNITS), dtype=np.float32)
    share += np.float32(1.0)
    np.maximum(share, np.float32(0.0), out=share)
    share[np.isnan(observer)] = np.nan
    return share


def _circle(azimuths_deg):
    """Order of the azimuths round the circle, the sorted azimuths, and the gap from each to the next
    [degrees]."""
    azimuths = np.asarray(azimuths_deg, np.float64)
    if azimuths.ndim != 1 or azimuths.size == 0 or not np.all(np.isfinite(azimuths)):
        raise ValueError("azimuths_deg must be a list of one or more finite angles.")
    wrapped = azimuths % 360.0
    order = np.argsort(wrapped, kind="stable")
    sectors = wrapped[order]
    gap = (np.roll(sectors, -1) - sectors) % 360.0
    if azimuths.size == 1:
        gap[:] = 360.0
    if np.any(gap == 0.0):
        raise ValueError("azimuths_deg repeats a direction; expected distinct angles.")
    return order, sectors, gap


def _checked(tables, n_azimuths):
    tables = np.asarray(tables, np.float64)
    if tables.ndim != 3 or tables.shape[1:] != (n_azimuths, NODES):
        raise ValueError(f"tables have shape {tables.shape}; expected [tables, {n_azimuths} azimuths, {NODES} nodes].")
    return tables


def _totals(tables):
    """What each table holds above a level horizon; NaN where nothing, so that its share is NaN."""
    totals = tables[:, :, 0].sum(axis=1)
    return np.where(totals > 0.0, totals, math.nan)
