"""The map of a report: relief, contours, where placements passed or fell, what to keep clear of, and the candidates as links."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING
from xml.etree.ElementTree import Element

import numpy as np
import shapely

from tunnelsite.core import amounts
from tunnelsite.core.grid import Grid
from tunnelsite.core.site import Frame
from tunnelsite.core.units import FOOT_M
from tunnelsite.drawing.colours import INK, PAPER, halo
from tunnelsite.drawing.contours import contour_interval, contour_lines, label_spots
from tunnelsite.drawing.farm_view import WIDTH, FarmView, rings_on_map
from tunnelsite.drawing.framing import framed
from tunnelsite.drawing.hatches import HATCHES, add_patterns, hatching
from tunnelsite.drawing.labels import Box, Labels, square
from tunnelsite.drawing.land_features import features, furniture, names, parcels
from tunnelsite.drawing.outcome_groups import OutcomeGroup, shown_scan
from tunnelsite.drawing.svg import Drawing
from tunnelsite.io.write.picture_png import data_address, png_bytes
from tunnelsite.kernels.terrain.slope import hillshade
from tunnelsite.scan.known_ground import known_share

if TYPE_CHECKING:
    from tunnelsite.screening.result import Result

SMALL = 440.0  # units: 14 of them are 7 pt where the map is 79 mm wide
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


def farm_map_svg(
    result: Result, groups: Sequence[OutcomeGroup], marks: Sequence[MapMark], *, small: bool = False
) -> str:
    """The map as an SVG document whose candidates are links into the page.

    Arguments: result; groups, on the grid of the scan that is shown (`shown_scan`); marks; small, for half the width of a printed
    page, with words that can be read there.
    """
    frame = result.scans[shown_scan(result)].frame
    shown = np.asarray(frame.parcels, object)[framed_parcels(frame)]
    view = FarmView.round(frame.grid, shown, SMALL if small else WIDTH)
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
    _passed(drawing, frame, view, (rows, cols), [group for group in groups if group.pattern not in HATCHES])
    for group in groups:
        if group.pattern in HATCHES:
            _rejected(drawing, frame, view, (rows, cols), group)
    feet = result.scans[shown_scan(result)].house.feet
    heights = _contours(drawing, frame, view, (rows, cols), feet=feet)
    features(drawing, frame, view)
    parcels(drawing, frame, view)
    boxes = [view.points(mark.corners) for mark in marks]
    pins = [box.mean(axis=0) + way for box, way in zip(boxes, _pins(boxes, _not_to_hide(frame, view)), strict=True)]
    covered = [Box(*box.min(axis=0), *box.max(axis=0)) for box in boxes] + [
        square(float(x), float(y), PIN_R + 2) for x, y in pins
    ]
    labels = names(drawing, frame, view, covered)
    _heights(drawing, heights, labels)
    _candidates(drawing, marks, boxes, pins)
    furniture(drawing, view, covered, feet=feet)
    return drawing.text


def framed_parcels(frame: Frame) -> np.ndarray:
    """Which parcels the map of a farm frames, bool [n]: those that hold heights, and what lies near them."""
    held = np.array([known_share(frame, one) > 0 for one in frame.parcels], bool)
    return framed(np.asarray(frame.parcels, object), held)


def _every(window: tuple[slice, slice]) -> int:
    rows, cols = window
    longer: int = max(rows.stop - rows.start, cols.stop - cols.start)
    return max(1, -(-longer // PIXELS))


def _image(
    drawing: Drawing,
    view: FarmView,
    grid: Grid,
    window: tuple[slice, slice],
    bands: np.ndarray,
    into: Element | None = None,
    **look: object,
) -> None:
    """Lays cells [bands, rows, cols], already thinned, over the map."""
    rows, cols = window
    every = _every(window)
    drawing.add(
        "image", into, "", href=data_address(png_bytes(bands), "image/png"), width=bands.shape[2], height=bands.shape[1],
        transform=view.raster_matrix(grid, rows.start, cols.start, every), preserveAspectRatio="none", **look,
    )  # fmt: skip


def relief(drawing: Drawing, frame: Frame, view: FarmView, window: tuple[slice, slice]) -> None:
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


def _passed(
    drawing: Drawing, frame: Frame, view: FarmView, window: tuple[slice, slice], groups: Sequence[OutcomeGroup]
) -> None:
    """All classes of score as one picture, so that a print of the map stays small."""
    if not groups:
        return
    rows, cols = window
    every = _every(window)
    bands = np.zeros((4, *groups[0].mask[rows, cols][::every, ::every].shape), np.uint8)
    for group in groups:
        there = group.mask[rows, cols][::every, ::every]
        bands[:, there] = np.array([*(int(group.pattern[i : i + 2], 16) for i in (1, 3, 5)), PASSED_ALPHA], np.uint8)[
            :, None
        ]
    _image(drawing, view, frame.grid, window, bands, class_="cells")


def _rejected(drawing: Drawing, frame: Frame, view: FarmView, window: tuple[slice, slice], group: OutcomeGroup) -> None:
    """One group as hatching seen through its cells."""
    rows, cols = window
    every = _every(window)
    size = {"x": 0, "y": 0, "width": view.width, "height": view.height}
    there = (group.mask[rows, cols][::every, ::every] * np.uint8(255))[None]
    mask = drawing.add("mask", drawing.defs, "", id=f"mask-{group.key}", maskUnits="userSpaceOnUse", **size)
    _image(drawing, view, frame.grid, window, np.ascontiguousarray(there), mask, class_="cells")
    drawing.open_group("", class_="outcome", data_group=group.key, mask=f"url(#mask-{group.key})")
    for path, look in hatching(group.pattern, view.width, view.height):
        drawing.add("path", None, "", d=path, fill="none", **look)
    drawing.close_group()


def _contours(
    drawing: Drawing, frame: Frame, view: FarmView, window: tuple[slice, slice], *, feet: bool
) -> dict[str, list[tuple[float, float]]]:
    """Draws the contours, and gives for each height in words the points on its line where it may be written."""
    rows, cols = window
    every, grid = _every(window), frame.grid
    part = frame.ground[rows, cols][::every, ::every].astype(np.float64) + frame.datum_m
    along, _ = grid.centre(0, np.arange(cols.start, cols.stop, every))
    _, across = grid.centre(np.arange(rows.start, rows.stop, every), 0)
    interval = contour_interval(part, LEAST_CONTOUR_M, FOOT_M if feet else 1.0)
    heights: dict[str, list[tuple[float, float]]] = {}
    drawing.open_group(f"contours every {amounts.step(interval, feet=feet)}", class_="contours")
    for level, line in contour_lines(along, across, part, interval):
        if len(line) < 12:
            continue
        points = view.points(np.column_stack(grid.to_map(line[:, 0], line[:, 1])))
        fifth = round(level / interval) % 5 == 0
        drawing.path(points.tolist(), stroke="#3c4650", stroke_width=1.3 if fifth else 0.6, stroke_opacity=0.75)
        if fifth and len(points) > 60:
            heights.setdefault(amounts.height(level, feet=feet), []).extend(map(tuple, points[30:-30:10].tolist()))
    drawing.close_group()
    return heights


def _heights(drawing: Drawing, heights: dict[str, list[tuple[float, float]]], labels: Labels) -> None:
    """The height of each thicker contour once, over all lines and clear of what is marked and named."""
    spots = {words: [p for p in points if labels.clear(*p, 36, 14)] for words, points in heights.items()}
    drawing.open_group("heights of contours")
    for words, (x, y) in label_spots(spots, (120.0, 40.0)).items():
        drawing.words(x, y + 5, words, 14, fill=INK, text_anchor="middle", **halo())
    drawing.close_group()


def _not_to_hide(frame: Frame, view: FarmView) -> list[shapely.Geometry]:
    """Lines of services and roads, and structures, on the map: a pin on one of them hides it."""
    found = [view.points(line) for item in frame.services.values() for line in rings_on_map(frame.grid, item.geometry)]
    if frame.structures is not None:
        found += [view.points(ring) for ring in rings_on_map(frame.grid, frame.structures.geometry)]
    return [shapely.LineString(line) for line in found if len(line) > 1]


def _candidates(
    drawing: Drawing, marks: Sequence[MapMark], boxes: Sequence[np.ndarray], pins: Sequence[np.ndarray]
) -> None:
    """Houses with their pins. Arguments: boxes [4, 2] and middles of the pins [2], in the picture's units."""
    drawing.open_group("", class_="marks")
    for mark, corners, pin in reversed(list(zip(marks, boxes, pins, strict=True))):  # the best on top
        link = drawing.add(
            "a", None, "", href=f"#{mark.target}", class_="mark", data_rank=mark.rank, aria_label=mark.words
        )
        shape = "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in corners.tolist()) + "Z"
        drawing.add("path", link, "", d=shape, fill=PAPER, stroke=PAPER, stroke_width=6, stroke_linejoin="round")
        drawing.add("path", link, "", d=shape, fill=PAPER, stroke=INK, stroke_width=2.6, class_="print")
        x, y = pin.tolist()
        drawing.add("circle", link, "", cx=x, cy=y, r=PIN_R, fill=INK, stroke=PAPER, stroke_width=2, class_="pin")
        back = corners.mean(axis=0) - pin
        back /= np.hypot(*back)  # from the pin to its box
        point = [
            (x, y) + back * far + np.array((-back[1], back[0])) * wide for far, wide in ((12, 5), (12, -5), (21, 0))
        ]
        drawing.add("path", link, "", d="M" + "L".join(f"{u:.1f} {v:.1f}" for u, v in point) + "Z", fill=INK)
        drawing.add("text", link, mark.label, x=x, y=y + 5.5, font_size=16, font_weight="700", fill=PAPER,
                    text_anchor="middle")  # fmt: skip
    drawing.close_group()


def _pins(boxes: Sequence[np.ndarray], shown: Sequence[shapely.Geometry] = ()) -> list[np.ndarray]:
    """Where the middle of each candidate's pin lies from that of its box, best first: above, or else where nothing hides it, and
    where it hides none of `shown` if that can be."""
    taken = [shapely.Polygon(box) for box in boxes]
    pins = []
    for k, box in enumerate(boxes):
        middle, beside = box.mean(axis=0), np.ptp(box[:, 0]) / 2 + PIN_R + 4
        ways = [np.array(way) for way in ((0.0, -PIN_AWAY), (0.0, PIN_AWAY), (beside, 0.0), (-beside, 0.0))]
        discs = [shapely.Point(middle + way).buffer(PIN_R) for way in ways]
        others = taken[:k] + taken[k + 1 :]
        free = [n for n, disc in enumerate(discs) if not shapely.intersects(disc, others).any()]
        hiding = [n for n in free if shown and shapely.intersects(discs[n], shown).any()]
        best = next((n for n in free if n not in hiding), free[0] if free else 0)
        pins.append(ways[best])
        taken.append(discs[best])
    return pins
