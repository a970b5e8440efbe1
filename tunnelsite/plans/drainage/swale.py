"""A diverting swale round the uphill side of a pad: traced from the highest point both ways, graded, run to daylight."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import shapely
from numpy.typing import ArrayLike

from tunnelsite.core.errors import InputRefused, UsageError
from tunnelsite.core.stakes import heights_at
from tunnelsite.plans.drainage.channels import Section
from tunnelsite.plans.grading.volumes import end_area_volume, trapezoid_area
from tunnelsite.plans.place import PlacedHouse

Tail = Callable[[float, float], np.ndarray | None]  # points [n, 2] of the natural way down from a spot (along, across)


@dataclass(frozen=True)
class SwaleRule:
    """How a swale is built. Common practice, no source, except where it says so.

    Attributes:
        fall: least fall of its bottom [fraction]. depth_m: depth kept below the natural ground wherever water comes in [m].
        section: bottom width and side slopes. clearance_m: from the foot of the side slopes to the swale's edge [m].
        tail_m: how far it may follow the natural way down to reach daylight [m].
        roughness: Manning's n of grass [@manning-grass].
    """

    fall: float = 0.005
    depth_m: float = 0.3
    section: Section = field(default_factory=lambda: Section(0.6, 3.0))
    clearance_m: float = 1.0
    tail_m: float = 60.0
    roughness: float = 0.035

    def __post_init__(self) -> None:
        if not (
            0 < self.fall < 0.2 and 0 < self.depth_m < 3 and 0 <= self.clearance_m < 50 and 0 <= self.tail_m < 2000
        ):
            raise UsageError(
                f"swale with a fall of {self.fall}, depth {self.depth_m} m, clearance {self.clearance_m} m",
                "a fall above 0 and below 20 %, a depth up to 3 m, a clearance up to 50 m",
                "correct them",
            )
        if not 0.01 <= self.roughness <= 0.5:
            raise UsageError(f"roughness of the swale is {self.roughness}", "0.01 to 0.5", "correct it")

    @property
    def offset_m(self) -> float:
        """From the foot of the side slopes to the centre line [m]."""
        return self.clearance_m + self.section.bottom_m / 2 + self.section.run_per_rise * self.depth_m


@dataclass(frozen=True)
class SwaleArm:
    """One arm of a swale, from the highest point down to its outlet.

    Attributes: along_m, across_m on the grid; distance_m from the start; ground_m; bottom_m; daylight, whether the bottom
    comes out at the ground; volume_m3, earth dug.
    """

    along_m: np.ndarray
    across_m: np.ndarray
    distance_m: np.ndarray
    ground_m: np.ndarray
    bottom_m: np.ndarray
    daylight: bool
    volume_m3: float

    @property
    def line(self) -> shapely.LineString:
        """Centre line in the grid's along and across [m]."""
        return shapely.linestrings(np.column_stack([self.along_m, self.across_m]))

    def footprint(self, section: Section) -> shapely.Geometry:
        """Ground the arm takes up on the grid, from the top of one side slope to that of the other."""
        half = section.bottom_m / 2 + section.run_per_rise * (self.ground_m - self.bottom_m)
        steps = shapely.linestrings(
            np.stack([np.column_stack([self.along_m, self.across_m])[k : len(self.along_m) - 1 + k] for k in (0, 1)], 1)
        )
        return shapely.union_all(shapely.buffer(steps, np.maximum(half[:-1], half[1:])))

    @property
    def steepest(self) -> float:
        """Steepest fall of the bottom [fraction]."""
        return float((-np.diff(self.bottom_m) / np.diff(self.distance_m)).max())


def ring(outline: shapely.Geometry, rule: SwaleRule) -> shapely.Polygon:
    """The line the swale follows: a box round all disturbed ground, set off by the rule, its corners rounded (on the grid)."""
    return shapely.box(*outline.bounds).buffer(rule.offset_m, quad_segs=16)


def swale_layouts(
    place: PlacedHouse, ground: np.ndarray, around: shapely.Polygon, rule: SwaleRule, needed: ArrayLike, tail: Tail
) -> list[list[SwaleArm]]:
    """Ways to lay a swale along a ring: from the highest point down both sides, or all of it down one side or the other.

    Arguments: place; ground, natural [rows, cols] [m]; around, the ring; rule; needed, points [n, 2] (along, across) where
    water comes in, which the swale has to pass at full depth; tail(along_m, across_m), points [n, 2] of the natural way
    down from a spot, None where that way leads back to the pad.
    Return: layouts of one or two arms; none where nothing comes in. Errors: InputRefused where the ring leaves the data.
    Source: geometry; a bottom that is never higher than the ground less the depth and never flatter than the fall. A steeper
    fall is not tried: it puts the bottom lower everywhere, so it digs more and reaches daylight later.
    """
    spots = np.asarray(needed, float).reshape(-1, 2)
    if not len(spots):
        return []
    step = place.grid.cell_m / 2
    edge = around.exterior
    at = np.linspace(0.0, edge.length, int(np.ceil(edge.length / step)), endpoint=False)
    points = shapely.get_coordinates(shapely.line_interpolate_point(edge, at))
    heights = ground_at(place, ground, points)
    if np.isnan(heights).any():
        raise InputRefused(
            "the ground round the pad, where a swale would run, is partly without data",
            "known ground on all sides of the pad",
            "choose a placement further inside the data, or plan without a swale",
        )
    top, n = _summit(heights, rule.depth_m / 10), len(points)
    low = (int(np.argmin(heights)) - top) % n
    enters = (np.rint(edge.project(shapely.points(spots)) / edge.length * n).astype(int) - top) % n
    enters = np.where(enters > low, enters - n, enters)  # from the top: one way above 0, the other below

    def arm(way: int, start: int) -> SwaleArm:
        end = low if way > 0 else n - low
        order = (top + way * np.arange(start, end + 1)) % n
        return _arm(place, ground, points[order], int((way * enters).max()) - start, rule, tail)

    sides = [way for way in (1, -1) if (way * enters > 0).any() or (way > 0 and (enters == 0).any())]
    layouts = [[arm(way, 0) for way in sides]]
    if len(sides) == 2:
        layouts += [[arm(way, int((way * enters).min()))] for way in sides]
    return layouts


def _summit(heights: np.ndarray, within_m: float) -> int:
    """Index of the middle of the highest stretch of a ring: all points next to the highest that are nearly as high.

    Where the hill is square to the pad the whole uphill side is; from its end one arm would have to drain it all.
    """
    n, top = heights.size, int(np.argmax(heights))
    low = np.flatnonzero(np.roll(heights, -top) < heights[top] - within_m)
    if low.size == 0:
        return top
    return (top + (int(low[0]) - 1 + int(low[-1]) + 1 - n) // 2) % n


def ground_at(place: PlacedHouse, ground: np.ndarray, points: np.ndarray) -> np.ndarray:
    """Ground [m] at points [n, 2] (along, across on the grid), bilinear."""
    return heights_at(ground, *place.cells(*(points - np.array(place.centre)).T))


def _arm(
    place: PlacedHouse, ground: np.ndarray, points: np.ndarray, last: int, rule: SwaleRule, tail: Tail
) -> SwaleArm:
    """One arm: along the ring at full depth up to point `last`, then out by the way that digs least.

    It may leave the ring at any later point and follow the natural way down; ways that reach daylight come first.
    """
    arms = [graded_arm(place, ground, points, last, rule)]
    for leave in range(last, len(points), 2):
        way = tail(*points[leave])
        if way is not None and len(way) > 1:
            way = _evenly(way, points[leave], place.grid.cell_m / 2, rule.tail_m)
            arms.append(graded_arm(place, ground, np.concatenate([points[: leave + 1], way]), last, rule))
    return min(arms, key=lambda arm: (not arm.daylight, arm.volume_m3, float(arm.distance_m[-1])))


def graded_arm(place: PlacedHouse, ground: np.ndarray, points: np.ndarray, last: int, rule: SwaleRule) -> SwaleArm:
    """An arm along given points: full depth up to point `last`, then at the least fall until it comes out of the ground.

    Arguments: place; ground [rows, cols] [m]; points [n, 2] (along, across); last, index of a point; rule.
    """
    heights = ground_at(place, ground, points)
    gap = np.flatnonzero(np.isnan(heights))  # the way down may run off the data; the ring does not
    points, heights = (points[: gap[0]], heights[: gap[0]]) if gap.size else (points, heights)
    run = np.concatenate([[0.0], np.hypot(*np.diff(points, axis=0).T)])
    levels = [float(heights[0] - rule.depth_m)]
    for k in range(1, len(points)):
        fallen = levels[-1] - rule.fall * run[k]
        levels.append(min(fallen, float(heights[k]) - rule.depth_m) if k <= last else fallen)
        if k > last and levels[-1] >= heights[k]:
            break
    stop = len(levels)
    bottom, points, heights, run = np.array(levels), points[:stop], heights[:stop], run[:stop]
    daylight = bool(bottom[-1] >= heights[-1])
    if daylight:  # the outlet lies on the ground, half a cell at most farther than it need be
        bottom[-1] = heights[-1]
    depth = np.maximum(heights - bottom, 0.0)
    sections = trapezoid_area(depth, rule.section.bottom_m, rule.section.run_per_rise)
    volume = end_area_volume(sections, run[1:]) if stop > 1 else 0.0
    return SwaleArm(points[:, 0], points[:, 1], np.cumsum(run), heights, bottom, daylight, volume)


def _evenly(points: np.ndarray, start: np.ndarray, step: float, most: float) -> np.ndarray:
    """Points at even distances along a way from `start`, the start left out, no farther than `most`."""
    points = np.vstack([start, np.asarray(points, float).reshape(-1, 2)])
    points = points[np.concatenate([[True], (np.diff(points, axis=0) != 0).any(axis=1)])]
    if len(points) < 2:
        return np.empty((0, 2))
    line = shapely.linestrings(points)
    at = np.arange(step, min(line.length, most) + 1e-9, step)
    return np.asarray(shapely.get_coordinates(shapely.line_interpolate_point(line, at))).reshape(-1, 2)


def with_swale(surface: np.ndarray, place: PlacedHouse, arms: list[SwaleArm], section: Section) -> np.ndarray:
    """A surface [m] with the swale dug: every cell its line crosses at its bottom, cells beside it at its side slope.

    Cells narrower than the swale show its shape; on wider ones the line of cells alone carries the water. The bottom never
    rises along the arm, so the flow over the result follows it.
    """
    dug = surface.copy()
    cell = place.grid.cell_m
    for arm in arms:
        at = np.arange(0.0, arm.distance_m[-1] + cell / 16, cell / 8)
        along, across, bottom = (np.interp(at, arm.distance_m, k) for k in (arm.along_m, arm.across_m, arm.bottom_m))
        _dig_sides(dug, place, arm, section)
        rows = np.floor((place.grid.north_m - across) / cell).astype(int)
        cols = np.floor((along - place.grid.west_m) / cell).astype(int)
        np.minimum.at(dug, (rows, cols), bottom)
    return dug


def _dig_sides(dug: np.ndarray, place: PlacedHouse, arm: SwaleArm, section: Section) -> None:
    widest = section.bottom_m / 2 + section.run_per_rise * float((arm.ground_m - arm.bottom_m).max())
    rows, cols = place.window(arm.line.buffer(widest).bounds)
    r, c = np.mgrid[rows, cols]
    along, across = place.grid.centre(r.ravel(), c.ravel())
    points = shapely.points(along, across)
    distance = shapely.distance(arm.line, points)
    bottom = np.interp(shapely.line_locate_point(arm.line, points), arm.distance_m, arm.bottom_m)
    side = bottom + np.maximum(distance - section.bottom_m / 2, 0.0) / max(section.run_per_rise, 1e-9)
    part = dug[rows, cols]
    near = (distance <= widest).reshape(part.shape)
    np.copyto(part, np.fmin(part, side.reshape(part.shape)), where=near & ~np.isnan(part))
