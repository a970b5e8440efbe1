"""Level spreaders at a swale's outlets: its water over a level lip, as sheet flow through grass inside the parcel."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cache
from itertools import product
from typing import Any

import numpy as np
import shapely

from tunnelsite.core import amounts
from tunnelsite.core.errors import UsageError
from tunnelsite.core.units import FOOT_M, INCH_M
from tunnelsite.kernels.water.flow import OUTLET
from tunnelsite.kernels.water.upslope import upslope_area, upslope_sum
from tunnelsite.plans.drainage.channels import Section
from tunnelsite.plans.drainage.flow_paths import Flow, path_down, path_length_m
from tunnelsite.plans.drainage.outlets import Parcel, leaving
from tunnelsite.plans.drainage.swale import SwaleArm, ground_at
from tunnelsite.plans.grading.volumes import end_area_volume, trapezoid_area
from tunnelsite.plans.place import PlacedHouse

LIP_PER_FLOW = 10.0 * FOOT_M / FOOT_M**3  # 10 ft of lip for each cubic foot a second [@spreader-nc]
SHORTEST_M = 10.0 * FOOT_M
AROUND_M = 6.0  # ground this far round an outlet says which way it falls
KEPT = 4  # lips of each arm that are tried together with those of the other
BOTH, LEFT, RIGHT = (0.5, 0.5), (1.0, 0.0), (0.0, 1.0)  # how much of a lip lies to either side of its outlet


@dataclass(frozen=True)
class SpreaderRule:
    """How a level spreader is built.

    Attributes:
        longest_m: longest lip (100 ft). strip_m: grass below it inside the parcel (30 ft). steepest: fall of the
            ground there [fraction] (8 %). depth_m: of its trench (6 in) [@spreader-sizes]. uneven_m: by how much the ground
            along the lip may differ [m]. most_times: what leaves the parcel within reach of any spot, over what leaves
            there now (no source).
    """

    longest_m: float = 100 * FOOT_M
    strip_m: float = 30 * FOOT_M
    steepest: float = 0.08
    depth_m: float = 6 * INCH_M
    uneven_m: float = 0.3
    most_times: float = 2.0

    def __post_init__(self) -> None:
        if not SHORTEST_M <= self.longest_m <= 500:
            raise UsageError(f"a level spreader of {self.longest_m} m", "10 ft to 500 m, or none", "correct it")


@dataclass(frozen=True)
class Spreader:
    """One level spreader. Attributes: line, on the grid; level_m, of its lip; volume_m3, earth dug; area_m2, land whose water it
    spreads; strip_m, shortest way over the ground below it inside the parcel; steepest, fall there [fraction]; times, what
    leaves the parcel within reach of a spot below over what leaves there now, None = none of it does within the data;
    beyond_m2, land whose water runs off the data first; cells, [n, 2] at which its water starts down."""

    line: shapely.LineString
    level_m: float
    volume_m3: float
    area_m2: float
    strip_m: float
    steepest: float
    times: float | None
    beyond_m2: float
    cells: np.ndarray


@dataclass(frozen=True)
class _Lip:
    """A spreader before its harm is known: with the cells where its water leaves the parcel and how much there [m2]."""

    spreader: Spreader
    exits: dict[tuple[int, int], float]


@dataclass(frozen=True)
class SpreaderLand:
    """What a spreader is laid on: place; surface, finished ground with the swale [rows, cols] [m]; disturbed, its cells [rows, cols];
    taken, geometry that a lip must not touch; own, the parcel."""

    place: PlacedHouse
    surface: np.ndarray
    disturbed: np.ndarray
    taken: shapely.Geometry
    own: Parcel


@dataclass(frozen=True)
class Build:
    """How a spreader is built: its rule, and the section of its trench."""

    rule: SpreaderRule
    section: Section


@dataclass(frozen=True)
class _Water:
    """Water that comes to a lip. Attributes: base, the flow without it; area_m2, land it comes from; sinks, cells where swales end."""

    base: Flow
    area_m2: float
    sinks: frozenset[tuple[int, int]]


@dataclass(frozen=True)
class _Trial:
    """A lip to be tried. Attributes: end, of the swale's arm, along and across [m]; fall, direction in which the ground falls there;
    length_m; sides, how much of it lies to either side of the end."""

    end: np.ndarray
    fall: np.ndarray
    length_m: float
    sides: tuple[float, float]


def spread_out(
    land: SpreaderLand,
    arms: list[SwaleArm],
    outlets: list[tuple[tuple[int, int], float]],
    flows: tuple[Flow, Flow],
    build: Build,
) -> tuple[list[Spreader], Flow] | str:
    """A level spreader for each arm and the flow with them, or why there is none, in plain words.

    Arguments: land; arms; outlets, ((row, col), peak flow [m3/s] or nan) of each; flows, (before, with the swale); build.
    Source: level lip, straight in plan, 10 ft for each cfs, no bypass if it takes the 10-year flow [@spreader-nc];
    sheet flow into a filter strip, concentrated flow dispersed first [@filter-strip-393]; at least the
    10-year peak [@spreader-pennsylvania]. Of the lips that do no known harm, those are chosen which send least water
    off the data, then change least at the parcel's edge, then dig least.
    """
    before, after = flows
    rule = build.rule
    sinks = [cell for cell, _ in outlets]
    if len(set(sinks)) < len(sinks):
        return "both arms end at one spot"
    direction = after.direction.copy()
    direction[tuple(np.array(sinks).T)] = OUTLET
    base = Flow(direction, *upslope_area(direction, land.place.grid.cell_m))
    was, now = (leaving(flow, land.own.cells) for flow in (before, base))
    choices = []
    for arm, (cell, peak) in zip(arms, outlets, strict=True):
        lips, why = _lips(land, arm, _Water(base, float(base.area_m2[cell]), frozenset(sinks)), peak, build)
        if not lips:
            return why
        choices.append(sorted(lips, key=lambda lip: _rank([lip], land.own, (was, now), rule))[:KEPT])
    best = min(product(*choices), key=lambda lips: _rank(lips, land.own, (was, now), rule))
    worst = _times(best, land.own, was, now)
    if max(worst.values(), default=1.0) > rule.most_times:
        (row, col), times = max(worst.items(), key=lambda item: item[1])
        spot = land.place.spot_words(*land.place.grid.centre(row, col))
        return f"even spread out, {times:.1f} times as much as now would leave the parcel {spot}"
    found = [_judged(lip, worst) for lip in best]
    return found, _flow_with(base, found, [bool(base.open_edge[cell]) for cell in sinks], land.place.grid.cell_m)


def _lips(land: SpreaderLand, arm: SwaleArm, water: _Water, peak: float, build: Build) -> tuple[list[_Lip], str]:
    """Lips that can be built at an arm's end, and why the one that came nearest cannot."""
    rule = build.rule
    needed = max(SHORTEST_M, LIP_PER_FLOW * peak if np.isfinite(peak) else 0.0)
    if needed > rule.longest_m:
        long, most = (amounts.away(length, feet=land.place.house.feet) for length in (needed, rule.longest_m))
        return [], f"the peak flow needs a lip of {long}, longer than {most}"
    end = np.array([arm.along_m[-1], arm.across_m[-1]])
    fall = _fall_at(land, float(end[0]), float(end[1]))
    if fall is None:
        return [], "the ground at the outlet is level or not known"

    @cache  # lips of one arm share most of their cells
    def below(row: int, col: int) -> tuple[float, float, tuple[int, int] | None] | None:
        """(way inside the parcel [m], fall of its start, where it leaves) from a cell down; None where it comes back."""
        way = path_down(water.base.direction, row, col)
        if land.disturbed[tuple(way.T)].any() or any(tuple(spot) in water.sinks for spot in way.tolist()):
            return None
        out, cell = land.own.exit_of(way), land.place.grid.cell_m
        inside = way if out is None else way[: int(np.flatnonzero((way == out).all(axis=1))[0]) + 1]
        return path_length_m(inside, cell), _fall_along(land.surface, inside, cell, rule.strip_m), out

    lips: list[_Lip] = []
    reasons: Counter[str] = Counter()
    lengths = dict.fromkeys(max(rule.longest_m * share, needed) for share in (1.0, 0.75, 0.5, 0.3))
    for length, sides in product(lengths, (BOTH, LEFT, RIGHT)):
        lip = _lip(land, _Trial(end, fall, length, sides), below, water.area_m2, build)
        if isinstance(lip, _Lip):
            lips.append(lip)
        else:
            reasons[lip] += 1
    return lips, max(reasons, key=lambda text: (STAGES.index(text), reasons[text])) if reasons else ""


# From the first test of a lip to the last: the one that got farthest tells most.
STAGES = (
    "there is no straight level line inside the parcel for it",
    "the ground along it is not level enough",
    "its water would come back to the swale or onto the pad",
    "there is too little grass below it before the water leaves the parcel",
    "the ground below it is too steep",
)


def _lip(land: SpreaderLand, trial: _Trial, below: Callable[[int, int], Any], area: float, build: Build) -> _Lip | str:
    """One lip on trial, or the test it fails. Arguments: below, what is known of the way down from a cell; area [m2]."""
    rule, section, fall, length = build.rule, build.section, trial.fall, trial.length_m
    place, cell = land.place, land.place.grid.cell_m
    level_way = np.array([-fall[1], fall[0]])
    before, after = (share * length * level_way for share in trial.sides)
    ends = np.array([trial.end - before, trial.end + after])
    line = shapely.linestrings(ends)
    trench = line.buffer(section.bottom_m / 2 + section.run_per_rise * (rule.depth_m + rule.uneven_m))
    if not shapely.covers(land.own.outline, trench) or shapely.intersects(line, land.taken):
        return STAGES[0]
    points = ends[0] + np.linspace(0.0, 1.0, int(np.ceil(2 * length / cell)) + 1)[:, None] * (ends[1] - ends[0])
    heights, below_m = (ground_at(place, land.surface, spots) for spots in (points, points + fall * cell))
    if np.isnan(heights + below_m).any() or np.ptp(heights) > rule.uneven_m:
        return STAGES[1]
    starts = np.unique(np.column_stack(place.cell_at(*(points + fall * cell).T)), axis=0)
    ways = [below(int(row), int(col)) for row, col in starts]
    if None in ways:
        return STAGES[2]
    exits: dict[tuple[int, int], float] = {}
    for _, _, out in ways:
        if out is not None:
            exits[out] = exits.get(out, 0.0) + area / len(starts)
    strips, falls = [strip for strip, _, _ in ways], [steep for _, steep, _ in ways]
    if min(strips) < rule.strip_m:
        return STAGES[3]
    if max(falls) > rule.steepest:
        return STAGES[4]
    depth = heights - heights.min() + rule.depth_m
    areas = trapezoid_area(depth, section.bottom_m, section.run_per_rise)
    dug = end_area_volume(areas, length / (len(points) - 1))
    beyond = area * sum(out is None for _, _, out in ways) / len(starts)
    return _Lip(Spreader(line, float(heights.min()), dug, area, min(strips), max(falls), None, beyond, starts), exits)


def _fall_at(land: SpreaderLand, along_m: float, across_m: float) -> np.ndarray | None:
    """Direction (along, across) in which the ground falls round a spot, by a least-squares plane."""
    place = land.place
    rows, cols = place.window((along_m - AROUND_M, across_m - AROUND_M, along_m + AROUND_M, across_m + AROUND_M))
    r, c = np.mgrid[rows, cols]
    u, v = place.grid.centre(r.ravel(), c.ravel())
    heights = land.surface[rows, cols].ravel()
    known = np.isfinite(heights)
    if known.sum() < 6:
        return None
    matrix = np.column_stack([np.ones(known.sum()), (u - along_m)[known], (v - across_m)[known]])
    plane = np.linalg.lstsq(matrix, heights[known], rcond=None)[0]
    steep = float(np.hypot(*plane[1:]))
    return -plane[1:] / steep if steep > 1e-4 else None


def _fall_along(surface: np.ndarray, way: np.ndarray, cell_m: float, over_m: float) -> float:
    """Mean fall [fraction] over the first metres of a way."""
    run = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(way, axis=0).T) * cell_m)])
    last = min(int(np.searchsorted(run, over_m)), len(way) - 1)
    return float(surface[tuple(way[0])] - surface[tuple(way[last])]) / float(run[last]) if last else 0.0


def _times(lips: Sequence[_Lip], own: Parcel, was: np.ndarray, now: np.ndarray) -> dict[tuple[int, int], float]:
    """At each cell where water of lips leaves the parcel: what leaves within reach over what leaves there before."""
    spots = np.array([cell for lip in lips for cell in lip.exits]).reshape(-1, 2)
    areas = np.array([area for lip in lips for area in lip.exits.values()])
    found = {}
    for cell in {tuple(spot) for spot in spots.tolist()}:
        near = own.near(cell)
        added = areas[(np.abs(spots - cell) <= own.reach).all(axis=1)].sum()
        old, new = float(was[near].sum()), float(now[near].sum() + added)
        found[cell] = new / max(old, 1e-9) if own.more(old, new) else 1.0
    return found


def _rank(
    lips: Sequence[_Lip], own: Parcel, leaves: tuple[np.ndarray, np.ndarray], rule: SpreaderRule
) -> tuple[bool, float, float, float]:
    times = max(_times(lips, own, *leaves).values(), default=1.0)
    beyond, dug = (sum(getattr(lip.spreader, name) for lip in lips) for name in ("beyond_m2", "volume_m3"))
    return times > rule.most_times, round(beyond), round(times, 1), dug


def _judged(lip: _Lip, worst: dict[tuple[int, int], float]) -> Spreader:
    times = max((worst[cell] for cell in lip.exits), default=None)
    return replace(lip.spreader, times=times)


def _flow_with(base: Flow, found: list[Spreader], open_edge: list[bool], cell_m: float) -> Flow:
    """The flow with the water of the swale set down along the lips, in equal parts."""
    weights, beyond = np.full(base.area_m2.shape, cell_m**2), np.zeros(base.area_m2.shape)
    for one, more in zip(found, open_edge, strict=True):
        weights[tuple(one.cells.T)] += one.area_m2 / len(one.cells)
        beyond[tuple(one.cells.T)] += more
    area = upslope_sum(base.direction, weights)
    return Flow(base.direction, area, base.open_edge | (np.nan_to_num(upslope_sum(base.direction, beyond)) > 0))
