"""The picture of a block of houses: relief, parcels, what is on the land, houses with their pads, trenches to the services."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from tunnelsite.core.grid import Grid
from tunnelsite.drawing.colours import INK, PAPER, halo
from tunnelsite.drawing.farm_map import relief
from tunnelsite.drawing.farm_view import FarmView, on_map, rings_on_map
from tunnelsite.drawing.labels import Box
from tunnelsite.drawing.land_features import features, furniture, names, parcels
from tunnelsite.drawing.svg import Drawing
from tunnelsite.plans.layout.trench import way_words

if TYPE_CHECKING:
    from tunnelsite.plans.layout.layers import PlacedBlock
    from tunnelsite.screening.result import Result

TRENCHES = ("#0b5cad", "#9a3b0b", "#4b4f5a", "#1f5b35")
DASHES = ("", "9 4", "3 3", "9 3 2 3")  # one for each service, so that colour alone tells nothing
PAD_M = 15.0  # of land shown round the houses and their trenches


def layout_picture(chosen: Result, placed: PlacedBlock) -> str:
    """The block as an SVG document, true north up.

    Arguments: chosen, a result whose choices are the block; placed.
    """
    frame = chosen.scans[chosen.choices[0].scan].frame if chosen.choices else chosen.frame
    lines = [one.line for ways in placed.ways for one in ways if one.line is not None]
    shown = [shapely.buffer(shape, PAD_M) for shape in (*placed.houses, *lines)] or list(frame.parcels)
    view = FarmView.round(frame.grid, shown)
    title = f"Block of {len(placed.houses)} houses" if len(placed.houses) != 1 else "One house"
    drawing = Drawing(
        view.width, view.height, title, "Houses, pads and trenches on the relief of the land; true north is up."
    )
    drawing.rectangle(0, 0, view.width, view.height, fill="#eef0ee")
    window = view.window(frame.grid)
    if window[0].start < window[0].stop and window[1].start < window[1].stop:
        relief(drawing, frame, view, window)
    features(drawing, frame, view)
    parcels(drawing, frame, view)
    outlines = [view.points(on_map(frame.grid, house)) for house in placed.houses]
    marks = [Box(*outline.min(axis=0), *outline.max(axis=0)) for outline in outlines]
    names(drawing, frame, view, marks)
    _trenches(drawing, view, frame.grid, placed)
    _houses(drawing, view, chosen, placed)
    furniture(drawing, view, marks, feet=any(scan.house.feet for scan in chosen.scans[:1]))
    return drawing.text


def _trenches(drawing: Drawing, view: FarmView, grid: Grid, placed: PlacedBlock) -> None:
    """Trenches, those of each service a little beside the others, so that none hides another in one ditch."""
    ways = [one for ways in placed.ways for one in ways if one.line is not None]
    names = list(dict.fromkeys(one.trench.service for one in ways))
    drawing.open_group("trenches")
    for look in ({"stroke": PAPER, "stroke_width": 5, "stroke_opacity": 0.8}, None):
        for one in ways:
            k = names.index(one.trench.service)
            points = view.points(on_map(grid, one.line)) + 3.0 * (k - (len(names) - 1) / 2)
            drawing.path(points.tolist(), **(look or _line(k)))
    drawing.close_group()
    drawing.open_group("key of the trenches")
    for k, name in enumerate(names):
        y = view.height - 84 - 20 * (len(names) - 1 - k)
        drawing.path([(16, y), (56, y)], **_line(k))
        drawing.words(64, y + 5, way_words(name), 14, fill=INK, **halo())
    drawing.close_group()


def _line(k: int) -> dict[str, object]:
    return {
        "stroke": TRENCHES[k % len(TRENCHES)],
        "stroke_width": 2.4,
        "stroke_dasharray": DASHES[k % len(DASHES)] or None,
    }


def _houses(drawing: Drawing, view: FarmView, chosen: Result, placed: PlacedBlock) -> None:
    drawing.open_group("houses and their pads")
    for rank, (choice, house) in enumerate(zip(chosen.choices, placed.houses, strict=True), 1):
        scan = chosen.scans[choice.scan]
        pad = shapely.buffer(house, (scan.pad.width_m - scan.house.width_m) / 2, join_style="mitre")
        for ring in rings_on_map(scan.frame.grid, np.array([pad], object)):
            drawing.ring(view.points(ring).tolist(), stroke=INK, stroke_width=1.2, stroke_dasharray="4 3",
                         fill=PAPER, fill_opacity=0.55)  # fmt: skip
        for ring in rings_on_map(scan.frame.grid, np.array([house], object)):
            drawing.ring(view.points(ring).tolist(), stroke=INK, stroke_width=2.2, fill=PAPER)
        x, y = view.points(on_map(scan.frame.grid, shapely.centroid(house)))[0].tolist()
        drawing.words(x, y + 6, str(rank), 17, fill=INK, text_anchor="middle", font_weight="700")
    drawing.close_group()
