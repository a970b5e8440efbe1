"""The map of a report: relief, contours, where placements passed or fell, what to keep clear of, and the candidates as links."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from tunnelsite.core.site import Frame
from tunnelsite.core.units import FOOT_M
from tunnelsite.drawing.colours import INK, PAPER, SOFT
from tunnelsite.drawing.contours import contour_interval, contour_lines, nice_step
from tunnelsite.drawing.farm_view import FarmView, on_map, rings_on_map
from tunnelsite.drawing.hatches import HATCHES, add_patterns, hatching
from tunnelsite.drawing.markup import plain_name
from tunnelsite.drawing.outcome_groups import Fate, shown_scan
from tunnelsite.drawing.svg import Drawing
from tunnelsite.io.write.picture_png import data_address, png_bytes
from tunnelsite.kernels.terrain.slope import hillshade

if TYPE_CHECKING:
    from tunnelsite.screening.result import Result

PIXELS = 900  # along the longer side of the relief: finer than the page shows
LEAST_CONTOUR_M = 0.25
SUN = (315.0, 45.0)  # the usual light from the upper left
DARKEST, LIGHTEST = 120, 255
PASSED_ALPHA = 184  # the relief shows through
PIN_R, PIN_AWAY = 14, 24  # a candidate's number, in the picture's units


@dataclass(frozen=True)
class MapMark:
    """One candidate on the map: rank; label in its pin; words read out; corners [4, 2] on the map [m]; target, id of its card."""

    rank: int
    label: str
    words: str
    corners: np.ndarray
    target: str


def farm_map_svg(result: Result, fates: Sequence[Fate], marks: Sequence[MapMark]) -> str:
    """The map as an SVG document whose candidates are links into the page.

    Arguments: result; fates, on the grid of the scan that is shown (`shown_scan`); marks.
    """
    frame = result.scans[shown_scan(result)].frame
    view = FarmView.round(frame.grid, frame.parcels)
    drawing = Drawing(view.width, view.height, "Map of the farm", "")
    root = drawing.root
    root.attrib.pop("aria-labelledby")
    for child in list(root):
        if child.tag in ("title", "desc"):  # the page says it in words; ids of a picture must not meet the page's own
            root.remove(child)
    root.set("role", "group")
    root.set("aria-label", "Map of the farm, true north up; options are links to their cards")
    root.set("class", "farm-map")
    add_patterns(drawing)
    drawing.rectangle(0, 0, view.width, view.height, fill="#eef0ee")
    rows, cols = view.window(frame.grid)
    relief(drawing, frame, view, (rows, cols))
    _passed(drawing, frame, view, (rows, cols), [fate for fate in fates if fate.pattern not in HATCHES])
    for fate in fates:
        if fate.pattern in HATCHES:
            _rejected(drawing, frame, view, (rows, cols), fate)
    _contours(drawing, frame, view, (rows, cols))
    features(drawing, frame, view)
    parcels(drawing, frame, view, marks)
    _candidates(drawing, view, marks)
    furniture(drawing, view)
    return drawing.text


def _every(window: tuple[slice, slice]) -> int:
    rows, cols = window
    return max(1, -(-max(rows.stop - rows.start, cols.stop - cols.start) // PIXELS))


def _image(drawing: Drawing, view: FarmView, grid, window, bands: np.ndarray, into=None, **look) -> None:
    """Lays cells [bands, rows, cols], already thinned, over the map."""
    rows, cols = window
    every = _every(window)
    drawing.add(
        "image", into, "", href=data_address(png_bytes(bands), "image/png"), width=bands.shape[2], height=bands.shape[1],
        transform=view.raster_matrix(grid, rows.start, cols.start, every), preserveAspectRatio="none", **look,
    )  # fmt: skip


def relief(drawing: Drawing, frame: Frame, view: FarmView, window) -> None:
    """Hillshade of the rows and columns of `window`."""
    rows, cols = window
    every = _every(window)
    part = frame.ground[max(rows.start - 1, 0) : rows.stop + 1, max(cols.start - 1, 0) : cols.stop + 1]
    turned = SUN[0] - (frame.grid.bearing_deg - 90.0)  # the kernel takes the grid's up for north
    shade = hillshade(np.ascontiguousarray(part), frame.grid.cell_m, turned, SUN[1], 2.0)
    shade = shade[min(rows.start, 1) :, min(cols.start, 1) :][: rows.stop - rows.start, : cols.stop - cols.start]
    shade = shade[::every, ::every]
    grey = np.where(np.isfinite(shade), DARKEST + (LIGHTEST - DARKEST) * np.nan_to_num(shade) / 255.0, 255)
    bands = np.stack([np.round(grey), np.where(np.isfinite(shade), 255, 0)]).astype(np.uint8)
    drawing.open_group("relief, lit from the north-west")
    _image(drawing, view, frame.grid, window, bands)
    drawing.close_group()


def _passed(drawing: Drawing, frame: Frame, view: FarmView, window, fates: Sequence[Fate]) -> None:
    """All classes of score as one picture, so that a print of the map stays small."""
    if not fates:
        return
    rows, cols = window
    every = _every(window)
    bands = np.zeros((4, *fates[0].mask[rows, cols][::every, ::every].shape), np.uint8)
    for fate in fates:
        there = fate.mask[rows, cols][::every, ::every]
        bands[:, there] = np.array([*(int(fate.pattern[i : i + 2], 16) for i in (1, 3, 5)), PASSED_ALPHA], np.uint8)[
            :, None
        ]
    _image(drawing, view, frame.grid, window, bands, class_="cells")


def _rejected(drawing: Drawing, frame: Frame, view: FarmView, window, fate: Fate) -> None:
    """One group as hatching seen through its cells."""
    rows, cols = window
    every = _every(window)
    size = {"x": 0, "y": 0, "width": view.width, "height": view.height}
    there = (fate.mask[rows, cols][::every, ::every] * np.uint8(255))[None]
    mask = drawing.add("mask", drawing.defs, "", id=f"mask-{fate.key}", maskUnits="userSpaceOnUse", **size)
    _image(drawing, view, frame.grid, window, np.ascontiguousarray(there), mask, class_="cells")
    drawing.open_group("", class_="fate", data_fate=fate.key, mask=f"url(#mask-{fate.key})")
    for path, look in hatching(fate.pattern, view.width, view.height):
        drawing.add("path", None, "", d=path, fill="none", **look)
    drawing.close_group()


def _contours(drawing: Drawing, frame: Frame, view: FarmView, window) -> None:
    rows, cols = window
    every, grid = _every(window), frame.grid
    part = frame.ground[rows, cols][::every, ::every].astype(np.float64) + frame.datum_m
    along, _ = grid.centre(0, np.arange(cols.start, cols.stop, every))
    _, across = grid.centre(np.arange(rows.start, rows.stop, every), 0)
    interval = contour_interval(part, LEAST_CONTOUR_M)
    drawing.open_group(f"contours every {interval:g} m", class_="contours")
    for level, line in contour_lines(along, across, part, interval):
        if len(line) < 12:
            continue
        points = view.points(np.column_stack(grid.to_map(line[:, 0], line[:, 1])))
        fifth = round(level / interval) % 5 == 0
        drawing.path(points.tolist(), stroke="#3c4650", stroke_width=1.3 if fifth else 0.6, stroke_opacity=0.75)
        if fifth and len(points) > 60:
            x, y = points[len(points) // 2]
            drawing.words(float(x), float(y), f"{level:g} m", 13, fill=INK, text_anchor="middle", **halo())
    drawing.close_group()


def halo(width: float = 3.5) -> dict[str, object]:
    """A rim of paper round words, so that they stand out from what lies under them."""
    return {"paint_order": "stroke", "stroke": PAPER, "stroke_width": width, "stroke_linejoin": "round"}


def features(drawing: Drawing, frame: Frame, view: FarmView) -> None:
    """What to keep clear of, structures, obstacles and services, as far as the run holds their shapes."""
    grid = frame.grid
    drawing.open_group("what is on the land")
    for item in frame.keep_outs:
        for line in rings_on_map(grid, item.geometry):
            drawing.path(view.points(line).tolist(), stroke="#5b2a86", stroke_width=1.6, stroke_dasharray="6 3")
    if frame.obstacles is not None and len(frame.obstacles):
        for line in rings_on_map(grid, frame.obstacles.geometry):
            drawing.path(view.points(line).tolist(), stroke="#3c4650", stroke_width=1.2, stroke_dasharray="1 3",
                         stroke_linecap="round")  # fmt: skip
        dots = frame.obstacles.geometry[shapely.get_dimensions(frame.obstacles.geometry) == 0]
        for x, y in view.points(on_map(grid, dots)).tolist():
            drawing.add("circle", None, "", cx=x, cy=y, r=4, fill="none", stroke="#3c4650", stroke_width=1.2)
    if frame.structures is not None:
        for ring in rings_on_map(grid, frame.structures.geometry):
            drawing.path(view.points(ring).tolist(), closed=True, fill="#3c4650", stroke=PAPER, stroke_width=1)
    for name, item in frame.services.items():
        _service(drawing, view, grid, plain_name(name, 20), item.geometry)
    drawing.close_group()


def _service(drawing: Drawing, view: FarmView, grid, name: str, geometry) -> None:
    look = {"stroke": "#0a4d68", "stroke_width": 2.2}
    lines = [view.points(line).tolist() for line in rings_on_map(grid, geometry)]
    for line in lines:
        drawing.path(line, **look)
    dots = view.points(on_map(grid, geometry[shapely.get_dimensions(geometry) == 0])).tolist()
    for x, y in dots:
        drawing.rectangle(x - 4, y - 4, 8, 8, fill=PAPER, **look)
    inside = [
        (x, y)
        for x, y in [*dots, *(p for line in lines for p in line)]
        if 40 < x < view.width - 40 and 20 < y < view.height - 20
    ]
    if inside:
        x, y = inside[len(inside) // 2]
        drawing.words(x + 8, y - 7, name, 14, fill="#0a4d68", font_weight="600", class_="isolated", **halo())


def parcels(drawing: Drawing, frame: Frame, view: FarmView, marks: Sequence[MapMark]) -> None:
    """Outlines and names, which keep clear of the marks' pins."""
    drawing.open_group("parcels")
    for parcel in frame.parcels:
        for ring in rings_on_map(frame.grid, parcel):
            points = view.points(ring).tolist()
            drawing.path(points, closed=True, stroke=PAPER, stroke_width=5, stroke_opacity=0.8)
            drawing.path(points, closed=True, stroke=INK, stroke_width=2, stroke_dasharray="14 4 3 4")
    pins = np.vstack([view.points(mark.corners.mean(axis=0)) - (0, 16) for mark in marks] or [np.empty((0, 2))])
    for parcel, name in zip(frame.parcels, frame.parcel_names, strict=True):
        if not shapely.is_empty(parcel):
            x, y = _name_spot(view, view.points(on_map(frame.grid, parcel)), pins)
            drawing.words(x, y, plain_name(name, 26), 17, fill=INK, text_anchor="middle", font_weight="600",
                          class_="isolated", **halo(5))  # fmt: skip
    drawing.close_group()


def _name_spot(view: FarmView, outline: np.ndarray, pins: np.ndarray) -> tuple[float, float]:
    """Where a parcel's name goes: inside its upper or its lower edge, whichever is farther from the candidates' pins."""
    left, top = outline.min(axis=0)
    right, bottom = outline.max(axis=0)
    middle = (left + right) / 2
    spots = np.array(
        [(x, y) for y in (top + 20, bottom - 9) for x in (middle, (left + middle) / 2, (right + middle) / 2)]
    )
    spots[:, 0] = np.clip(spots[:, 0], 70, view.width - 70)
    away = np.abs(spots[:, None, :] - pins[None]) / (75, 26)  # a name is wide and low
    free = away.max(axis=2).min(axis=1, initial=9.0) if len(pins) else np.ones(len(spots))
    best = int(np.argmax(np.minimum(free, 1.0)))  # the first of those that are free
    return float(spots[best, 0]), float(spots[best, 1])


def _candidates(drawing: Drawing, view: FarmView, marks: Sequence[MapMark]) -> None:
    drawing.open_group("", class_="marks")
    boxes = [view.points(mark.corners) for mark in marks]
    for mark, corners, pin in reversed(list(zip(marks, boxes, _pins(boxes), strict=True))):  # the best on top
        link = drawing.add(
            "a", None, "", href=f"#{mark.target}", class_="mark", data_rank=mark.rank, aria_label=mark.words
        )
        shape = "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in corners.tolist()) + "Z"
        drawing.add("path", link, "", d=shape, fill=PAPER, stroke=PAPER, stroke_width=6, stroke_linejoin="round")
        drawing.add("path", link, "", d=shape, fill="#fde725", stroke=INK, stroke_width=2.2, class_="print")
        x, y = (float(part) for part in corners.mean(axis=0) + pin)
        drawing.add("circle", link, "", cx=x, cy=y, r=PIN_R, fill=INK, stroke=PAPER, stroke_width=2, class_="pin")
        back = -pin / np.hypot(*pin)  # from the pin to its box
        point = [
            (x, y) + back * far + np.array((-back[1], back[0])) * wide for far, wide in ((12, 5), (12, -5), (21, 0))
        ]
        drawing.add("path", link, "", d="M" + "L".join(f"{u:.1f} {v:.1f}" for u, v in point) + "Z", fill=INK)
        drawing.add("text", link, mark.label, x=x, y=y + 5.5, font_size=16, font_weight="700", fill=PAPER,
                    text_anchor="middle")  # fmt: skip
    drawing.close_group()


def _pins(boxes: Sequence[np.ndarray]) -> list[np.ndarray]:
    """Where the middle of each candidate's pin lies from that of its box, best first: above, or else where nothing hides it."""
    taken = [shapely.Polygon(box) for box in boxes]
    pins = []
    for k, box in enumerate(boxes):
        middle, beside = box.mean(axis=0), np.ptp(box[:, 0]) / 2 + PIN_R + 4
        ways = [np.array(way) for way in ((0.0, -PIN_AWAY), (0.0, PIN_AWAY), (beside, 0.0), (-beside, 0.0))]
        discs = [shapely.Point(middle + way).buffer(PIN_R) for way in ways]
        others = taken[:k] + taken[k + 1 :]
        best = next((n for n, disc in enumerate(discs) if not shapely.intersects(disc, others).any()), 0)
        pins.append(ways[best])
        taken.append(discs[best])
    return pins


def furniture(drawing: Drawing, view: FarmView) -> None:
    """North arrow and scale bars."""
    x, y = view.width - 34, 46
    drawing.open_group("true north is up")
    drawing.add("circle", None, "", cx=x, cy=y - 4, r=27, fill=PAPER, fill_opacity=0.85)
    drawing.add("path", None, "", d=f"M{x} {y - 24}l8 24l-8 -6l-8 6z", fill=INK)
    drawing.words(x, y + 16, "N", 15, fill=INK, text_anchor="middle", font_weight="700")
    drawing.close_group()
    drawing.open_group("scale")
    drawing.rectangle(8, view.height - 64, 300, 56, fill=PAPER, fill_opacity=0.85)
    for unit, unit_m, y in (("m", 1.0, view.height - 42), ("ft", FOOT_M, view.height - 18)):
        long = nice_step(140 / view.scale / unit_m, 1, (1.0, 2.0, 5.0))
        wide = long * unit_m * view.scale
        drawing.path([(16, y - 6), (16, y), (16 + wide, y), (16 + wide, y - 6)], stroke=INK, stroke_width=1.6)
        drawing.words(22 + wide, y + 2, f"{long:g} {unit}", 14, fill=INK)
    drawing.close_group()
    drawing.rectangle(0.5, 0.5, view.width - 1, view.height - 1, fill="none", stroke=SOFT, stroke_width=1)
