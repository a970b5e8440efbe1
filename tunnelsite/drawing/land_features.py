"""What is on the land, as a map shows it and as its key names it: features, parcels with their names, north and scale."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from xml.etree.ElementTree import Element

import numpy as np
import shapely

from tunnelsite.core.grid import Grid
from tunnelsite.core.site import Frame
from tunnelsite.drawing.colours import INK, KEEP_OUT, PAPER, SOFT, halo
from tunnelsite.drawing.farm_view import FarmView, on_map, rings_on_map
from tunnelsite.drawing.labels import Box, Labels, name_box, overlap
from tunnelsite.drawing.markup import plain_name, tag
from tunnelsite.drawing.north_and_scale import BarRoom, north_arrow, scale_bars
from tunnelsite.drawing.svg import Drawing

KEPT: dict[str, object] = {"stroke": KEEP_OUT, "stroke_width": 1.8, "stroke_dasharray": "7 3"}
TREES: dict[str, object] = {
    "stroke": "#1f5b35",
    "stroke_width": 2.4,
    "stroke_dasharray": "1 4",
    "stroke_linecap": "round",
}
TREE: dict[str, object] = {"fill": "none", "stroke": "#1f5b35", "stroke_width": 1.6}
STRUCTURE: dict[str, object] = {"fill": "#3c4650", "stroke": PAPER, "stroke_width": 1}
SERVICE: dict[str, object] = {"stroke": INK, "stroke_width": 2.2}
SCALE_WORDS = 80.0  # room that the words of a scale bar take beside it
PARCEL_SIZE = 17.0  # of the letters of a parcel's name
PARCEL: dict[str, object] = {"stroke": INK, "stroke_width": 2, "stroke_dasharray": "14 4 3 4"}


def features(drawing: Drawing, frame: Frame, view: FarmView) -> None:
    """What to keep clear of, structures, obstacles and services, as far as the run holds their shapes."""
    grid = frame.grid
    drawing.open_group("what is on the land")
    for item in frame.keep_outs:
        for line in rings_on_map(grid, item.geometry):
            drawing.path(
                view.points(line).tolist(), stroke=PAPER, stroke_width=4.5, stroke_opacity=0.75
            )  # off hatches of its colour
            drawing.path(view.points(line).tolist(), **KEPT)
    if frame.obstacles is not None and len(frame.obstacles):
        for line in rings_on_map(grid, frame.obstacles.geometry):
            drawing.path(view.points(line).tolist(), **TREES)
        dots = frame.obstacles.geometry[shapely.get_dimensions(frame.obstacles.geometry) == 0]
        for x, y in view.points(on_map(grid, dots)).tolist():
            drawing.add("circle", None, "", cx=x, cy=y, r=4, **TREE)
    elif frame.obstacles is None:  # a kept run knows their outlines alone
        for line in rings_on_map(grid, frame.outlines):
            drawing.ring(view.points(line).tolist(), **TREES)
    if frame.structures is not None:
        for ring in rings_on_map(grid, frame.structures.geometry):
            drawing.ring(view.points(ring).tolist(), **STRUCTURE)
    for item in frame.services.values():
        for line in rings_on_map(grid, item.geometry):
            drawing.path(view.points(line).tolist(), stroke=PAPER, stroke_width=5, stroke_opacity=0.8)
            drawing.path(view.points(line).tolist(), **SERVICE)
        for x, y in _dots(view, grid, item.geometry):
            drawing.rectangle(x - 4, y - 4, 8, 8, fill=PAPER, **SERVICE)
    drawing.close_group()


def _dots(view: FarmView, grid: Grid, geometry: np.ndarray) -> list[tuple[float, float]]:
    """Points among shapes, on the map."""
    points = view.points(on_map(grid, geometry[shapely.get_dimensions(geometry) == 0]))
    return [(float(x), float(y)) for x, y in points]


def parcels(drawing: Drawing, frame: Frame, view: FarmView) -> None:
    """Outlines of the parcels."""
    drawing.open_group("parcels")
    for parcel in frame.parcels:
        for ring in rings_on_map(frame.grid, parcel):
            points = view.points(ring).tolist()
            drawing.ring(points, stroke=PAPER, stroke_width=5, stroke_opacity=0.8)
            drawing.ring(points, **PARCEL)
    drawing.close_group()


def names(drawing: Drawing, frame: Frame, view: FarmView, marks: Sequence[Box]) -> Labels:
    """Names of the parcels and services seen, clear of each other, of the north arrow, the scale and marks; gives where words stand now.

    Arguments: marks, what houses and their pins cover of the map.
    """
    labels = Labels(view.width, view.height, list(marks))
    labels.keep(view.width - 34, 42, 28)
    labels.taken.append(_scale_box(view, marks))
    drawing.open_group("names")
    for parcel, name in zip(frame.parcels, frame.parcel_names, strict=True):
        drawn = shapely.transform(parcel, lambda _, parcel=parcel: view.points(on_map(frame.grid, parcel)))
        seen = shapely.get_coordinates(shapely.clip_by_rect(drawn, 0, 0, view.width, view.height))
        if len(seen):  # a name at the edge of the picture would be read as that of another parcel
            words = plain_name(name, 26)
            x, y = labels.place(words, PARCEL_SIZE, _parcel_spots(words, drawn, seen))
            drawing.words(
                x,
                y,
                words,
                PARCEL_SIZE,
                fill=INK,
                text_anchor="middle",
                font_weight="600",
                class_="isolated",
                **halo(5),
            )
    for name, item in frame.services.items():
        spots = _service_spots(view, frame.grid, item.geometry)
        if spots:
            words = plain_name(name, 20)
            x, y = labels.place(words, 14, spots)
            drawing.words(
                x, y, words, 14, fill=INK, text_anchor="middle", font_weight="600", class_="isolated", **halo()
            )
    drawing.close_group()
    return labels


def _parcel_spots(words: str, drawn: shapely.Geometry, outline: np.ndarray) -> list[tuple[float, float]]:
    """Where a parcel's name may stand: inside it, from its upper edge down and its middle outwards, or else just outside.

    Arguments: words; drawn, the parcel on the picture; outline [n, 2], of what is seen of it.
    """
    left, top = outline.min(axis=0).tolist()
    right, bottom = outline.max(axis=0).tolist()
    middle = (left + right) / 2
    cols = (middle, (left + middle) / 2, (right + middle) / 2)
    across = sorted(np.linspace(left, right, 13)[1:-1].tolist(), key=lambda x: abs(x - middle))
    over = [(x, y) for y in np.arange(top + 20, bottom - 8, 12).tolist() for x in across]
    boxes = [shapely.box(*name_box(words, PARCEL_SIZE, x, y)) for x, y in over]
    within = shapely.contains_properly(drawn, boxes) if over else []
    rows = (top + 20, bottom - 9, (top + bottom) / 2 + 6, top - 8, bottom + 20)
    return [
        *(spot for spot, own in zip(over, within, strict=True) if own),
        *((x, y) for y in rows for x in cols),
    ]


def _along(line: np.ndarray, count: int = 24) -> np.ndarray:
    """Points at even distances along a line [n, 2]."""
    if len(line) < 2:
        return line
    shape = shapely.LineString(line)
    spots = shapely.line_interpolate_point(shape, np.linspace(0.02, 0.98, count), normalized=True)
    return np.asarray(shapely.get_coordinates(spots))


def _service_spots(view: FarmView, grid: Grid, geometry: np.ndarray) -> list[tuple[float, float]]:
    """Where the name of a service may stand: above or below its line or its points, the middle of the line first."""
    lines = [p for line in rings_on_map(grid, geometry) for p in view.points(_along(line)).tolist()]
    seen = [
        (x, y)
        for x, y in [*_dots(view, grid, geometry), *lines]
        if 40 < x < view.width - 40 and 20 < y < view.height - 20
    ]
    order = sorted(range(len(seen)), key=lambda k: abs(k - len(seen) // 2))
    return [(seen[k][0], seen[k][1] + down) for k in order for down in (-9, 20)]


def _scale_box(view: FarmView, marks: Sequence[Box]) -> Box:
    """Where the scale bars stand: bottom left, or top left where they hide fewer of the marks."""
    right = 8 + min(300, view.width * 0.45)
    places = (Box(8, view.height - 64, right, view.height - 8), Box(8, 8, right, 64))
    return min(places, key=lambda place: sum(overlap(place, mark) for mark in marks))


def furniture(drawing: Drawing, view: FarmView, marks: Sequence[Box], *, feet: bool) -> None:
    """North arrow and scale bars, that in the user's unit first. Arguments: marks, as for `names`."""
    x, y = view.width - 34, 46.0
    drawing.open_group("true north is up")
    drawing.add("circle", None, "", cx=x, cy=y - 4, r=27, fill=PAPER, fill_opacity=0.85)
    north_arrow(drawing, x, y)
    drawing.close_group()
    drawing.open_group("scale")
    box = _scale_box(view, marks)
    drawing.rectangle(box.left, box.top, box.right - box.left, box.bottom - box.top, fill=PAPER, fill_opacity=0.85)
    room = BarRoom(box.left + 8, box.top + 22, min(140, view.width * 0.2), box.right - box.left - SCALE_WORDS)
    scale_bars(drawing, room, view.scale, feet=feet)
    drawing.close_group()
    drawing.rectangle(0.5, 0.5, view.width - 1, view.height - 1, fill="none", stroke=SOFT, stroke_width=1)


def land_key(frame: Frame) -> Iterator[tuple[Element, str]]:
    """What the map shows of the land, each as (swatch, words), as far as the run holds it."""
    line = "M2 9H32"
    yield (
        swatch(tag("rect", x="5", y="5", width="24", height="8", fill=PAPER, stroke=INK, stroke_width="2.4")),
        "option, with its pin",
    )
    yield swatch(tag("path", d=line, fill="none", **_look(PARCEL))), "edge of a parcel"
    if frame.keep_outs:
        yield swatch(tag("path", d=line, fill="none", **_look(KEPT))), "to keep clear of"
    if frame.structures is not None and len(frame.structures):
        yield swatch(tag("rect", x="9", y="3", width="16", height="12", **_look(STRUCTURE))), "structure"
    if len(frame.outlines if frame.obstacles is None else frame.obstacles.geometry):
        yield swatch(tag("path", d=line, fill="none", **_look(TREES))), "hedge, tree line or building that casts shade"
        if frame.obstacles is not None and (shapely.get_dimensions(frame.obstacles.geometry) == 0).any():
            yield swatch(tag("circle", cx="17", cy="9", r="5", **_look(TREE))), "tree"
    if frame.services:
        yield swatch(tag("path", d=line, fill="none", **_look(SERVICE))), "service or road, by its name"


def swatch(shape: Element) -> Element:
    """A sample for a key."""
    return tag("svg", shape, viewBox="0 0 34 18", width="34", height="18", class_="swatch", aria_hidden="true")


def _look(look: dict[str, object]) -> dict[str, str]:
    return {name: str(value) for name, value in look.items()}
