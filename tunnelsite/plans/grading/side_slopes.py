"""Side slopes: from the edge of the pad at a fixed gradient to where they meet the natural ground (daylight).

The foot of each slope is found along rays square to the pad's sides and fanned round its corners (a quarter cone), on
ground that is bilinear between cell centres.
"""

from __future__ import annotations

import functools
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import shapely

from tunnelsite.core.errors import InputRefused, UsageError
from tunnelsite.core.stakes import heights_at
from tunnelsite.plans.grading.volumes import prism_volumes
from tunnelsite.plans.place import PlacedHouse

NEAR = 8  # the first of so many parts of the way out
PER_CELL = 4  # rays a cell side; a toe is then right to a few centimetres on 1 m cells
WIDEST_M = 0.5  # apart at most: a pad may be no wider than a few cells
NODES = 12  # of a ray's integral, which crosses a few cells
FAN = 24  # rays round each corner

_gauss = functools.cache(np.polynomial.legendre.leggauss)  # the same nodes for all draws of a ground


@dataclass(frozen=True)
class SlopeRule:
    """Gradients of side slopes, as run per rise, and how far they may reach from the pad [m].

    3:1 can be mown; common practice, no source.
    """

    cut: float = 3.0
    fill: float = 3.0
    reach_m: float = 30.0

    def __post_init__(self) -> None:
        if not (0 < self.cut < 100 and 0 < self.fill < 100 and 0 < self.reach_m < 1000):
            raise UsageError(
                f"side slopes {self.cut}:1 in cut, {self.fill}:1 in fill, reach {self.reach_m} m",
                "run per rise above 0 and below 100, reach below 1000 m",
                "correct them",
            )


@dataclass(frozen=True)
class SideSlopes:
    """Side slopes of one pad.

    Attributes:
        edge_u_m, edge_v_m, out_u, out_v: start and direction of each ray, going round from the far end's right corner.
        toe_m: distance from the pad's edge to daylight [m], 0 where the edge meets the ground.
        is_cut: bool, cut slope (rising outwards) or fill slope. rule: gradients.
    """

    edge_u_m: np.ndarray
    edge_v_m: np.ndarray
    out_u: np.ndarray
    out_v: np.ndarray
    toe_m: np.ndarray
    is_cut: np.ndarray
    rule: SlopeRule

    @property
    def outline(self) -> shapely.Polygon:
        """All that is disturbed, pad and slopes, in distances from the centre [m]."""
        ends = np.column_stack([self.edge_u_m + self.toe_m * self.out_u, self.edge_v_m + self.toe_m * self.out_v])
        # With no toe at all every fan is one point; the outline stays the pad because its corners are in the rays' edges.
        return shapely.make_valid(shapely.Polygon(ends)) if len(ends) else shapely.Polygon()


Finish = Callable[[np.ndarray, np.ndarray], np.ndarray]


def side_slopes(place: PlacedHouse, ground: np.ndarray, finish: Finish, rule: SlopeRule) -> SideSlopes:
    """Side slopes of a pad down or up to daylight.

    Arguments: place; ground [rows, cols] [m]; finish(u_m, v_m), finished height [m] at distances from the centre; rule.
    Errors: InputRefused where a slope leaves the data before daylight or does not reach daylight within the reach.
    """
    found = traced(place, ground, finish, rule)
    lost = ~np.isfinite(found.toe_m)
    if lost.any():
        where = (
            "leaves the elevation data" if np.isnan(found.toe_m).any() else f"is still going after {rule.reach_m:g} m"
        )
        kinds = {True: "cut", False: "fill"}
        which = " and ".join(sorted({kinds[bool(k)] for k in found.is_cut[lost]}))
        raise InputRefused(
            f"the {which} slope {where} before it meets the ground, on {lost.mean():.0%} of the way round the pad",
            "side slopes that come to daylight",
            "choose a flatter place, steeper side slopes or a retaining wall designed by licensed practice",
        )
    return found


def traced(place: PlacedHouse, ground: np.ndarray, finish: Finish, rule: SlopeRule) -> SideSlopes:
    """As `side_slopes`, but toe_m is NaN where a slope leaves the data and infinite where it never meets the ground."""
    eu, ev, du, dv = _rays(place)
    step = place.grid.cell_m / PER_CELL
    out = np.arange(0.0, rule.reach_m + step, step)
    edge = np.asarray(finish(eu, ev), float)
    is_cut = heights_at(ground, *place.cells(eu, ev)) > edge
    toe = np.full(eu.size, np.inf)
    for steps in (-(-out.size // NEAR), out.size):  # most slopes end near the pad: only the others are followed on
        ray = np.flatnonzero(np.isinf(toe))
        u, v = (from_m[ray, None] + out[:steps] * by[ray, None] for from_m, by in ((eu, du), (ev, dv)))
        natural, start, far = heights_at(ground, *place.cells(u, v)), edge[ray, None], out[:steps]
        # Height still between the slope and the ground: positive until daylight.
        left = np.where(is_cut[ray, None], natural - start - far / rule.cut, start - far / rule.fill - natural)
        toe[ray] = _daylight_m(left, step)
    return SideSlopes(eu, ev, du, dv, toe, is_cut, rule)


def _daylight_m(left: np.ndarray, step: float) -> np.ndarray:
    """How far out each ray meets the ground [m]: NaN where that is missing, infinite where nowhere.

    Arguments: left, height left [m], [ray, steps out]; step [m].
    """
    over = ~(left > 0)  # true for NaN too
    first = np.argmax(over, axis=1)
    rays = np.arange(len(left))
    after, before = left[rays, first], left[rays, np.maximum(first - 1, 0)]
    with np.errstate(invalid="ignore", divide="ignore"):
        beside = step * first - step * after / (after - before)
    found = np.where(first == 0, np.where(np.isnan(after), np.nan, 0.0), beside)
    return np.where(over.any(axis=1), found, np.inf)


def slope_depths(
    slopes: SideSlopes, place: PlacedHouse, finish: Finish, u_m: np.ndarray, v_m: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Height of the slope surface at points and whether they lie on a side slope.

    Arguments: slopes; place; finish as in `side_slopes`; u_m, v_m, distances from the centre [m].
    Return: height [m] (NaN off the slopes), is_cut bool.
    """
    half_u, half_v = place.pad.length_m / 2, place.pad.width_m / 2
    eu, ev = np.clip(u_m, -half_u, half_u), np.clip(v_m, -half_v, half_v)
    away = np.hypot(u_m - eu, v_m - ev)
    ray = _nearest_ray(place, u_m, v_m)
    on = (away > 0) & (away < slopes.toe_m[ray])
    is_cut = slopes.is_cut[ray]
    height = finish(eu, ev) + np.where(is_cut, away / slopes.rule.cut, -away / slopes.rule.fill)
    return np.where(on, height, np.nan), is_cut & on


def slope_volumes(
    slopes: SideSlopes, place: PlacedHouse, finish: Finish, ground: np.ndarray
) -> tuple[float, float, float, float]:
    """Cut and fill of the side slopes [m3] and their deepest cut and fill [m].

    Each ray stands for the strip (at corners the sector) round it; the depth along it is integrated from the pad's edge to the
    toe by Gauss and Legendre's rule. That keeps to the pad's edge however it lies to the cells: slopes are deepest there.

    Arguments as in `side_slopes`.
    """
    toe = np.where(np.isfinite(slopes.toe_m), slopes.toe_m, slopes.rule.reach_m)[:, None]
    nodes, shares = _gauss(NODES)
    out = np.hstack([np.zeros_like(toe), toe * (nodes + 1) / 2])  # the edge itself, where it is deepest, without weight
    u, v = (
        slopes.edge_u_m[:, None] + out * slopes.out_u[:, None],
        slopes.edge_v_m[:, None] + out * slopes.out_v[:, None],
    )
    rise = np.where(slopes.is_cut, 1 / slopes.rule.cut, -1 / slopes.rule.fill)[:, None]
    edge = np.asarray(finish(slopes.edge_u_m, slopes.edge_v_m), float)[:, None]
    depth = np.nan_to_num(heights_at(ground, *place.cells(u, v)) - edge - out * rise)
    depth = np.where(slopes.is_cut[:, None], np.maximum(depth, 0.0), np.minimum(depth, 0.0)) * (toe > 0)
    width, angle = (span[:, None] for span in _spans(place))
    area = (width + angle * out) * np.concatenate([[0.0], shares / 2]) * toe
    cut, fill = prism_volumes(depth.ravel(), area.ravel())
    return cut, fill, float(depth.max(initial=0.0)), float(-depth.min(initial=0.0))


def _counts(place: PlacedHouse) -> tuple[int, int]:
    side = min(place.grid.cell_m / PER_CELL, WIDEST_M)
    return max(1, round(place.pad.width_m / side)), max(1, round(place.pad.length_m / side))


def _spans(place: PlacedHouse) -> tuple[np.ndarray, np.ndarray]:
    """Width [m] of the strip of each straight ray and angle [rad] of the sector of each ray of a fan, 0 for the others."""
    ends, sides = _counts(place)
    fan = np.full(FAN, np.pi / 2 / (FAN - 1))
    fan[[0, -1]] /= 2
    widths, angles = [], []
    for size, count in ((place.pad.width_m, ends), (place.pad.length_m, sides)) * 2:
        widths += [np.full(count, size / count), np.zeros(FAN)]
        angles += [np.zeros(count), fan]
    return np.concatenate(widths), np.concatenate(angles)


def _rays(place: PlacedHouse) -> tuple[np.ndarray, ...]:
    """Start and direction of every ray: far end, its left corner, left side, and so on round the pad."""
    half_u, half_v = place.pad.length_m / 2, place.pad.width_m / 2
    ends, sides = _counts(place)
    across = ((np.arange(ends) + 0.5) / ends * 2 - 1) * half_v
    along = ((np.arange(sides) + 0.5) / sides * 2 - 1) * half_u
    # Fans reach from one side's direction to the next one's, both included, so that the outline keeps the corner itself.
    fan = np.linspace(0.0, np.pi / 2, FAN)
    turn = [fan + k * np.pi / 2 for k in range(4)]
    corner = [(half_u, half_v), (-half_u, half_v), (-half_u, -half_v), (half_u, -half_v)]
    straight = [
        (np.full(ends, half_u), across, 1.0, 0.0),
        (along[::-1], np.full(sides, half_v), 0.0, 1.0),
        (np.full(ends, -half_u), across[::-1], -1.0, 0.0),
        (along, np.full(sides, -half_v), 0.0, -1.0),
    ]
    parts = []
    for (u, v, du, dv), (cu, cv), angle in zip(straight, corner, turn, strict=True):
        parts.append((u, v, np.full(u.size, du), np.full(u.size, dv)))
        parts.append((np.full(FAN, cu), np.full(FAN, cv), np.cos(angle), np.sin(angle)))
    return tuple(np.concatenate(columns) for columns in zip(*parts, strict=True))


def _nearest_ray(place: PlacedHouse, u_m: np.ndarray, v_m: np.ndarray) -> np.ndarray:
    """Index of the ray nearest to each point outside the pad, in the order of `_rays`."""
    half_u, half_v = place.pad.length_m / 2, place.pad.width_m / 2
    ends, sides = _counts(place)
    starts = np.cumsum([0, ends, FAN, sides, FAN, ends, FAN, sides])
    pu, pv = u_m / half_u, v_m / half_v
    up = np.clip(((pv + 1) / 2 * ends).astype(int), 0, ends - 1)
    right = np.clip(((pu + 1) / 2 * sides).astype(int), 0, sides - 1)
    beyond_u, beyond_v = abs(u_m) - half_u, abs(v_m) - half_v
    angle = np.arctan2(np.maximum(beyond_v, 0) * np.sign(v_m), np.maximum(beyond_u, 0) * np.sign(u_m)) % (2 * np.pi)
    quarter = np.minimum((angle // (np.pi / 2)).astype(int), 3)
    fan = np.rint((angle - quarter * np.pi / 2) / (np.pi / 2) * (FAN - 1)).astype(int)
    at_corner = starts[2 * quarter + 1] + fan
    at_end = np.where(u_m > 0, starts[0] + up, starts[4] + ends - 1 - up)
    at_side = np.where(v_m > 0, starts[2] + sides - 1 - right, starts[6] + right)
    beside = np.where(beyond_u > 0, at_end, at_side)
    return np.asarray(np.where((beyond_u > 0) & (beyond_v > 0), at_corner, beside))
