"""The map of a grading plan: depth of cut and fill, contours before and after, what is built; ridge to the right."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import ArrayLike

from tunnelsite.core import amounts
from tunnelsite.core.stakes import heights_at
from tunnelsite.core.units import INCH_M
from tunnelsite.drawing.colours import INK, PAPER, SOFT, WATER, cut_fill_colour, halo
from tunnelsite.drawing.contours import bands, contour_lines, label_spots
from tunnelsite.drawing.svg import Drawing, number
from tunnelsite.plans.drainage.plan import DrainagePlan
from tunnelsite.plans.grading.key import (
    AFTER,
    BEFORE,
    DAYLIGHT,
    DRAIN,
    HOUSE,
    LIP,
    MARGIN,
    PAD,
    SWALE,
    WIDTH,
    key,
    key_room,
    north,
    scale_bar,
)
from tunnelsite.plans.grading.plan import GradingPlan
from tunnelsite.plans.place import box

TALLEST = 620.0
SMALL = 13.4
LETTERS = 92  # of a line of small text
CLASSES = 5  # of depth, either way
AROUND_M = 6.0
SEEN_M = 0.002  # ground that is moved less has the contours it had
SAMPLES = 260  # along the longer side: finer than a screen shows


@dataclass(frozen=True)
class MapData:
    """What is drawn: title, "" = none, for a page that says it; plan and drainage (None = no drainage plan); interval of contours
    [m]; footer lines; wide, units of the picture's width: `NARROW` for half a printed page."""

    title: str
    plan: GradingPlan
    drainage: DrainagePlan | None
    interval_m: float
    footer: tuple[str, ...] = ()
    wide: float = WIDTH


@dataclass(frozen=True)
class _MapScale:
    """From distances along and across the grid [m] to the picture."""

    west_m: float
    north_m: float
    scale: float
    wide: float
    tall: float
    top: float

    def well_inside(self, x: float, y: float) -> bool:
        """Whether a label there stays clear of the frame."""
        return MARGIN + 26 < x < MARGIN + self.wide - 26 and self.top + 14 < y < self.top + self.tall - 14

    def points(self, coordinates: ArrayLike) -> list[tuple[float, float]]:
        """Points [n, 2] on the picture."""
        xy = np.asarray(coordinates, float).reshape(-1, 2)
        x, y = MARGIN + (xy[:, 0] - self.west_m) * self.scale, self.top + (self.north_m - xy[:, 1]) * self.scale
        return list(zip(x.tolist(), y.tolist(), strict=True))

    def rings(self, rings: Iterable[np.ndarray]) -> str:
        """Closed rings as path data."""
        shown = ("L".join(f"{number(x)} {number(y)}" for x, y in self.points(ring)) for ring in rings)
        return "".join(f"M{words}Z" for words in shown)


def grading_map_svg(data: MapData) -> str:
    """The map as an SVG document."""
    plan = data.plan
    extent = _extent(data)
    scale = min((data.wide - 2 * MARGIN) / (extent[2] - extent[0]), TALLEST / (extent[3] - extent[1]))
    wide, tall = (extent[2] - extent[0]) * scale, (extent[3] - extent[1]) * scale
    top = 86.0 if data.title else 14.0
    view = _MapScale(extent[0], extent[3], scale, wide, tall, top)
    footer = [line for words in data.footer for line in textwrap.wrap(words, LETTERS)]
    below = key_room(data)
    height = top + tall + below + 17 * len(footer)
    drawing = Drawing(data.wide, height, f"Grading map: {data.title}", _description(plan))
    _definitions(drawing, data, view)
    drawing.rectangle(0, 0, data.wide, height, fill=PAPER)
    if data.title:
        drawing.words(MARGIN, 30, data.title, 20, fill=INK, font_weight="bold")
        for k, words in enumerate(_under(plan)):
            drawing.words(MARGIN, 52 + 18 * k, words, SMALL, fill=SOFT)
    drawing.open_group("map", clip_path="url(#frame)")
    edges = _depths(drawing, data, view)
    drawn = _contours(drawing, data, view, extent)
    _built(drawing, data, view)
    drawing.close_group()
    drawing.rectangle(MARGIN, top, wide, tall, fill="none", stroke=SOFT, stroke_width=1)
    _spots(drawing, plan, view)
    north(drawing, plan, data.wide - (62 if data.title else 34), 28 if data.title else top + tall + 128)
    key(drawing, data, edges, top + tall + 26, drawn)
    scale_bar(drawing, data, scale, top + tall + 26)
    for k, words in enumerate(footer):
        drawing.words(MARGIN, top + tall + below - 4 + 17 * k, words, SMALL, fill=SOFT)
    return drawing.text


def _extent(data: MapData) -> tuple[float, float, float, float]:
    parts = [data.plan.outline]
    if data.drainage is not None:
        parts += [*data.drainage.lines, *filter(None, [data.drainage.drain])]
    west, south, east, north = shapely.union_all(parts).buffer(AROUND_M).bounds
    grow = max((east - west) * 0.35 - (north - south), 0.0) / 2  # never a mere strip
    return west, south - grow, east, north + grow


def depth_step(deepest_m: float, *, feet: bool) -> float:
    """Depth of a class [m]: round inches or centimetres, so that `CLASSES` of them hold the deepest."""
    steps = (0.25, 0.5, 1, 2, 3, 6, 12, 24, 60, 120) if feet else (0.5, 1, 2, 5, 10, 20, 50, 100, 200, 500)
    unit_m = INCH_M if feet else 0.01
    return unit_m * next((step for step in steps if CLASSES * step * unit_m >= deepest_m), steps[-1])


def _description(plan: GradingPlan) -> str:
    return (
        f"Depth of cut and fill of the pad and its side slopes seen from above, the ridge from left to right. Cut "
        f"{plan.cut_m3:.0f} cubic metres, fill {plan.fill_m3:.0f}, deepest cut {plan.pad.max_cut_m:.2f} metres, highest "
        f"fill {plan.pad.max_fill_m:.2f} metres. Contours before are broken lines, after solid ones."
    )


def _under(plan: GradingPlan) -> tuple[str, str]:
    house, pad, rule = plan.place.house, plan.place.pad, plan.settings.rule
    long, wide = (amounts.size(side, feet=house.feet) for side in (pad.length_m, pad.width_m))
    cut, fill = (amounts.volume(amount, feet=house.feet) for amount in (plan.cut_m3, plan.fill_m3))
    return (
        f"{house.name} house, pad {long} × {wide}",
        f"Cut {cut}, fill {fill}; side slopes {rule.cut:g}:1 in cut, {rule.fill:g}:1 in fill",
    )


def _definitions(drawing: Drawing, data: MapData, view: _MapScale) -> None:
    clip = drawing.add("clipPath", drawing.defs, "", id="frame")
    drawing.add("rect", clip, "", x=MARGIN, y=view.top, width=view.wide, height=view.tall)
    clip = drawing.add("clipPath", drawing.defs, "", id="disturbed")
    rings = shapely.get_rings(shapely.get_parts(data.plan.outline))
    outline = view.rings([shapely.get_coordinates(ring) for ring in rings])
    drawing.add("path", clip, "", d=outline, clip_rule="evenodd")
    # hatching carries the sign of fill where colour is lost
    hatch = drawing.add(
        "pattern", drawing.defs, "", id="fill-hatch", width=7, height=7, patternUnits="userSpaceOnUse",
        patternTransform="rotate(45)",
    )  # fmt: skip
    drawing.add("line", hatch, "", x1=0, y1=0, x2=0, y2=7, stroke=INK, stroke_width=0.9, stroke_opacity=0.45)
    arrow = drawing.add(
        "marker", drawing.defs, "", id="down", viewBox="0 0 8 8", refX=6, refY=4, markerWidth=5, markerHeight=5,
        orient="auto",
    )  # fmt: skip
    drawing.add("path", arrow, "", d="M0 0L8 4L0 8Z", fill=WATER)


def _depths(drawing: Drawing, data: MapData, view: _MapScale) -> np.ndarray:
    """Draws depth of cut (+) and fill (-) and gives the edges of its classes [m]."""
    plan = data.plan
    west, south, east, north = plan.outline.buffer(plan.place.grid.cell_m).bounds
    step = max((east - west) / SAMPLES, plan.place.grid.cell_m / 8)
    along, across = np.arange(west, east + step, step), np.arange(south, north + step, step)
    u, v = np.meshgrid(along - plan.place.centre[0], across - plan.place.centre[1])
    natural = plan.natural_at(u, v)
    depth = natural - plan.surface(u, v, natural)
    deepest = float(np.nanmax(np.abs(depth), initial=0.0))
    edge = depth_step(deepest, feet=plan.place.house.feet) * np.arange(-CLASSES, CLASSES + 1)
    drawing.open_group("cut and fill", clip_path="url(#disturbed)")
    for k, rings in bands(along, across, depth, edge):
        share = (edge[k] + edge[k + 1]) / 2 / edge[-1]
        path = view.rings(rings)
        drawing.add("path", None, "", d=path, fill=cut_fill_colour(share), fill_rule="evenodd")
        if share < 0:
            drawing.add("path", None, "", d=path, fill="url(#fill-hatch)", fill_rule="evenodd")
    drawing.close_group()
    return edge


def _contours(drawing: Drawing, data: MapData, view: _MapScale, extent: tuple[float, float, float, float]) -> set[str]:
    """Draws the contours, before only where they differ from those after, and gives the names of those that there are."""
    plan, place = data.plan, data.plan.place
    cell = place.grid.cell_m
    rows, cols = place.window((extent[0] - cell, extent[1] - cell, extent[2] + cell, extent[3] + cell))
    along, _ = place.grid.centre(0, np.arange(cols.start, cols.stop))
    _, across = place.grid.centre(np.arange(rows.start, rows.stop), 0)
    after = plan.finished if data.drainage is None else data.drainage.surface
    looks = (
        ("contours before", plan.natural, BEFORE),
        ("contours after", after, AFTER),
    )
    moved = float(np.nanmax(np.abs(after[rows, cols] - plan.natural[rows, cols]), initial=0.0)) > SEEN_M
    drawn: set[str] = set()
    for label, surface, look in looks if moved else looks[1:]:
        drawing.open_group(label)
        lines = contour_lines(along, across, surface[rows, cols], data.interval_m)
        lines = [(level, line) for level, line in lines if _worth_drawing(line, place.grid.cell_m)]
        drawn |= {label} if lines else set()
        for _, line in lines:
            drawing.path(view.points(line), stroke_linejoin="round", **look)
        if surface is after:
            _contour_labels(drawing, lines, view, data)
        drawing.close_group()
    return drawn


def _worth_drawing(line: np.ndarray, cell_m: float) -> bool:
    """Rings smaller than a few cells are the noise of single cells."""
    closed = bool((line[0] == line[-1]).all())
    return not closed or float(np.hypot(*np.diff(line, axis=0).T).sum()) > 8 * cell_m


def _contour_labels(drawing: Drawing, lines: list[tuple[float, np.ndarray]], view: _MapScale, data: MapData) -> None:
    """The height of each level once, on its longest line, off the earthwork where that can be."""
    longest: dict[float, np.ndarray] = {}
    for level, line in lines:
        if len(line) > len(longest.get(level, ())):
            longest[level] = line
    arms = [] if data.drainage is None else [line.buffer(2.5) for line in data.drainage.lines]
    work = shapely.union_all([data.plan.outline.buffer(1.5), *arms])
    spots, depths = {}, [spot for spot, _ in _depth_spots(data.plan, view)]
    for level, line in longest.items():
        outside = ~shapely.contains_xy(work, line)
        points = view.points(line[outside] if outside.any() else line)
        spots[level] = [point for point in points if view.well_inside(*point) and _clear_of(depths, point)]
    for level, (x, y) in label_spots(spots, (58.0, 16.0)).items():
        words = amounts.height(level, feet=data.plan.place.house.feet)
        drawing.words(x, y + 4, words, SMALL, fill=INK, text_anchor="middle", **halo())


def _outline_points(shape: shapely.Geometry) -> list[np.ndarray]:
    return [shapely.get_coordinates(ring) for ring in shapely.get_rings(shapely.get_parts(shape))]


def _built(drawing: Drawing, data: MapData, view: _MapScale) -> None:
    plan, place = data.plan, data.plan.place
    drawing.open_group("what is built")
    for ring in _outline_points(plan.outline):
        drawing.ring(view.points(ring), **DAYLIGHT)
    for part, look in ((place.pad, PAD), (place.house, HOUSE)):
        outline = place.on_grid(box(part.length_m / 2, part.width_m / 2))
        drawing.ring(view.points(shapely.get_coordinates(outline)), **look)
    if data.drainage is not None:
        if data.drainage.drain is not None:
            drawing.path(view.points(shapely.get_coordinates(data.drainage.drain)), **DRAIN)
        for arm in data.drainage.arms:
            points = view.points(shapely.get_coordinates(arm.line))
            drawing.path(points, stroke=PAPER, stroke_width=6.5, stroke_linejoin="round")
            drawing.path(points, **SWALE, stroke_linejoin="round", marker_end="url(#down)")
        for one in data.drainage.spreaders:
            drawing.path(view.points(shapely.get_coordinates(one.line)), **LIP)
    drawing.close_group()


def _clear_of(depths: list[tuple[float, float]], point: tuple[float, float]) -> bool:
    """Whether a label of a contour stays clear of the depths at the corners."""
    return all(abs(x - point[0]) > 74 or abs(y - point[1]) > 30 for x, y in depths)


def _depth_spots(plan: GradingPlan, view: _MapScale) -> list[tuple[tuple[float, float], float]]:
    """Where the depths at the corners and the middle of the pad are written, and each depth [m]."""
    half_u, half_v = plan.place.pad.length_m / 2, plan.place.pad.width_m / 2
    found = []
    for su, sv in ((-1, 1), (1, 1), (-1, -1), (1, -1), (0, 0)):
        u, v = np.array([su * half_u]), np.array([sv * half_v])
        natural = float(heights_at(plan.natural, *plan.place.cells(u, v))[0])
        if np.isfinite(natural):
            x, y = view.points([plan.place.centre[0] + u[0], plan.place.centre[1] + v[0]])[0]
            spot = (min(max(x + 30 * su, MARGIN + 40), MARGIN + view.wide - 40), y - 20 * sv)
            found.append((spot, natural - float(plan.finished_height(u, v)[0])))
    return found


def _spots(drawing: Drawing, plan: GradingPlan, view: _MapScale) -> None:
    """Signed depths at the corners and the middle of the pad: what a crew asks first."""
    drawing.open_group("cut (+) and fill (-) at the corners and the middle of the pad")
    for (x, y), depth in _depth_spots(plan, view):
        own, other = amounts.signed_depth(depth, feet=plan.place.house.feet)
        drawing.words(x, y, own, 15, fill=INK, text_anchor="middle", font_weight="bold", **halo(4.5))
        drawing.words(x, y + 15, f"({other})", SMALL, fill=INK, text_anchor="middle", **halo())
    drawing.close_group()
