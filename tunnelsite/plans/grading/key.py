"""The key of a grading map: what its colours and lines mean, how long a metre is and where north lies."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from tunnelsite.core import amounts
from tunnelsite.drawing.colours import INK, SOFT, WATER, cut_fill_colour
from tunnelsite.drawing.north_and_scale import BarRoom, scale_bars
from tunnelsite.drawing.svg import Drawing, number
from tunnelsite.plans.grading.plan import GradingPlan

if TYPE_CHECKING:
    from tunnelsite.plans.grading.map import MapData

WIDTH, NARROW = 680.0, 500.0  # so small that 13 units are 7 pt where the map is 13 cm wide, or 9.3 cm
MARGIN = 24.0
SEEN_M2 = 0.5  # side slopes of less ground are no line of their own
LINE_NARROW = 16.5  # from line to line of the key of a narrow map
LETTER, GAP = 7.4, 8.0  # width of a letter of the key's words at most, and between two of them
# Looks of lines, on the map and in its key.
HOUSE: dict[str, object] = {"stroke": INK, "stroke_width": 3.4}
PAD: dict[str, object] = {"stroke": INK, "stroke_width": 2}
DAYLIGHT: dict[str, object] = {"stroke": INK, "stroke_width": 1.4, "stroke_dasharray": "9 3 2 3"}
DRAIN: dict[str, object] = {"stroke": WATER, "stroke_width": 1.6, "stroke_dasharray": "2 3"}
BEFORE: dict[str, object] = {"stroke": SOFT, "stroke_width": 1.1, "stroke_dasharray": "5 4"}
AFTER: dict[str, object] = {"stroke": INK, "stroke_width": 0.9}
SWALE: dict[str, object] = {"stroke": WATER, "stroke_width": 3.2}
LIP: dict[str, object] = {"stroke": WATER, "stroke_width": 4.5, "stroke_dasharray": "9 2"}


def north(drawing: Drawing, plan: GradingPlan, x: float, y: float) -> None:
    """An arrow to true north."""
    turn = 90.0 - plan.place.grid.bearing_deg
    drawing.open_group("true north", transform=f"translate({number(x)} {number(y)}) rotate({number(float(turn))})")
    drawing.add("path", None, "", d="M0 -20L7 14L0 8L-7 14Z", fill=INK)
    drawing.words(0, -24 + 50, "N", 13.4, fill=INK, text_anchor="middle")
    drawing.close_group()


def _lines(data: MapData, drawn: set[str]) -> list[tuple[str, dict[str, object]]]:
    """What the lines on the map are, and how they look. Arguments: drawn, which contours there are."""
    plan, feet = data.plan, data.plan.place.house.feet
    pad = plan.place.pad
    lines: list[tuple[str, dict[str, object]]] = [("edge of the house", HOUSE), ("edge of the pad", PAD)]
    if plan.outline.area > pad.length_m * pad.width_m + SEEN_M2:
        lines.append(("end of the side slopes", DAYLIGHT))
    every = f", every {amounts.step(data.interval_m, feet=feet)}"
    if "contours before" in drawn:
        lines.append((f"contours before{every}", BEFORE))
    if "contours after" in drawn:
        both = "contours after" if "contours before" in drawn else "contours, before and after"
        lines.append((both if "contours before" in drawn else both + every, AFTER))
    if data.drainage is not None:
        lines += [("French drain off the posts", DRAIN)] if data.drainage.drain is not None else []
        lines += [("swale, arrow to its outlet", SWALE)] if data.drainage.arms else []
        lines += [("level spreader: grass below it", LIP)] if data.drainage.spreaders else []
    return lines


def key_room(data: MapData) -> float:
    """How high the key is at most, with its scale, in the picture's units."""
    if data.wide >= WIDTH:
        return 206.0
    return 102.0 + LINE_NARROW * len(_lines(data, {"contours before", "contours after"}))


def key(drawing: Drawing, data: MapData, edges: np.ndarray, top: float, drawn: set[str]) -> None:
    """Colours of cut and fill, by the edges of their classes [m], and the looks of the lines; drawn, which contours there are."""
    drawing.open_group("key")
    feet = data.plan.place.house.feet
    drawing.words(
        MARGIN, top, "Fill (−) and cut (+), from the ground to the finished pad", 14, fill=INK, font_weight="bold"
    )
    narrow = data.wide < WIDTH
    wide, depths = 26.0 if narrow else 36.0, _depths(edges, feet)
    room = [LETTER * max(len(words) for words in pair) for pair in depths]
    left = max(MARGIN + 24, room[0] / 2 + 4)  # the words of the outer edges reach beyond them
    for k in range(len(edges) - 1):
        share, x = (edges[k] + edges[k + 1]) / 2 / edges[-1], left + k * wide
        drawing.rectangle(x, top + 9, wide, 18, fill=cut_fill_colour(share), stroke=SOFT, stroke_width=0.6)
        if share < 0:
            drawing.rectangle(x, top + 9, wide, 18, fill="url(#fill-hatch)")
    middle = len(edges) // 2
    few = narrow or (room[0] + room[middle - 3]) / 2 + GAP > (middle - 3) * wide
    for k in (0, middle, len(edges) - 1) if few else (0, middle - 3, middle, middle + 3, len(edges) - 1):
        words, x = depths[k], left + k * wide
        drawing.line(x, top + 27, x, top + 31, stroke=INK, stroke_width=1)
        drawing.words(x, top + 44, words[0], 13.4, fill=INK, text_anchor="middle")
        drawing.words(x, top + 59, words[1], 13.4, fill=SOFT, text_anchor="middle")
    lines = _lines(data, drawn)
    for k, (name, look) in enumerate(lines):
        # beside the lines of a narrow map stand the scale and north, so they are one column
        column, row = (0, k) if narrow else divmod(k, 4)
        x, y = MARGIN + 350 * column, top + 78 + (LINE_NARROW if narrow else 21) * row
        drawing.line(x, y, x + 38, y, **look)
        drawing.words(x + 46, y + 4, name, 13.4, fill=INK)
    drawing.close_group()


def _depths(edges: np.ndarray, feet: bool) -> list[tuple[str, str]]:
    """The edges [m] in the user's own unit and in the other one."""
    return [amounts.signed_depth(float(edge), feet=feet) if edge else ("0", "") for edge in edges]


def scale_bar(drawing: Drawing, data: MapData, scale: float, top: float) -> None:
    """Scale bars beside the colours, or on a narrow map beside the lines. Arguments: scale, of the picture a metre; top, of the key."""
    place = (MARGIN + 460.0, top) if data.wide >= WIDTH else (MARGIN + 255.0, top + 58)
    drawing.open_group("scale")
    scale_bars(drawing, BarRoom(place[0], place[1] + 22, 90.0, 105.0), scale, feet=data.plan.place.house.feet)
    drawing.close_group()
