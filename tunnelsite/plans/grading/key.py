"""The key of a grading map: what its colours and lines mean, how long a metre is and where north lies."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from tunnelsite.core.units import FOOT_M
from tunnelsite.drawing.colours import INK, SOFT, WATER, cut_fill_colour
from tunnelsite.drawing.contours import nice_step
from tunnelsite.drawing.svg import Drawing, number

if TYPE_CHECKING:
    from tunnelsite.plans.grading.map import MapData

MARGIN = 24.0
# Looks of lines, on the map and in its key.
HOUSE, PAD = {"stroke": INK, "stroke_width": 3.4}, {"stroke": INK, "stroke_width": 2}
DAYLIGHT = {"stroke": INK, "stroke_width": 1.4, "stroke_dasharray": "9 3 2 3"}
DRAIN = {"stroke": WATER, "stroke_width": 1.6, "stroke_dasharray": "2 3"}
BEFORE = {"stroke": SOFT, "stroke_width": 1.1, "stroke_dasharray": "5 4"}
AFTER = {"stroke": INK, "stroke_width": 0.9}
SWALE = {"stroke": WATER, "stroke_width": 3.2}
LIP = {"stroke": WATER, "stroke_width": 4.5, "stroke_dasharray": "9 2"}


def north(drawing: Drawing, plan, x: float, y: float) -> None:
    """An arrow to true north."""
    turn = 90.0 - plan.place.grid.bearing_deg
    drawing.open_group("true north", transform=f"translate({number(x)} {number(y)}) rotate({number(float(turn))})")
    drawing.add("path", None, "", d="M0 -20L7 14L0 8L-7 14Z", fill=INK)
    drawing.words(0, -24 + 50, "N", 13, fill=INK, text_anchor="middle")
    drawing.close_group()


def key(drawing: Drawing, data: MapData, edges: np.ndarray, top: float) -> None:
    """Colours of cut and fill, by the edges of their classes [m], and the looks of lines."""
    drawing.open_group("key")
    feet = data.plan.place.house.feet
    unit = "m, below it ft" if feet else "m"
    drawing.words(MARGIN, top, f"Cut (+) and fill (-) [{unit}]", 13, fill=INK, font_weight="bold")
    wide, left = 34.0, MARGIN + 16  # the words of the outer edges reach beyond them
    for k in range(len(edges) - 1):
        share, x = (edges[k] + edges[k + 1]) / 2 / edges[-1], left + k * wide
        drawing.rectangle(x, top + 9, wide, 18, fill=cut_fill_colour(share), stroke=SOFT, stroke_width=0.6)
        if share < 0:
            drawing.rectangle(x, top + 9, wide, 18, fill="url(#fill-hatch)")
    for k, edge in enumerate(edges):
        for unit_m, y in ((1.0, 40), (FOOT_M, 53))[: 1 + feet]:
            shown = f"{edge / unit_m:+.2f}" if edge else "0"
            drawing.words(left + k * wide, top + y, shown, 11, fill=INK, text_anchor="middle")
    lines = [
        ("edge of the house", HOUSE),
        ("edge of the pad", PAD),
        ("daylight: end of the side slopes", DAYLIGHT),
        (f"contours before, every {_interval(data.interval_m, feet)}", BEFORE),
        ("contours after", AFTER),
    ]
    if data.drainage is not None:
        lines.append(("French drain off the posts", DRAIN))
        if data.drainage.arms:
            lines.append(("swale, arrow to its outlet", SWALE))
        if data.drainage.spreaders:
            lines.append(("level spreader: grass below it", LIP))
    for k, (words, look) in enumerate(lines):
        x, y = 410 + 280 * (k // 4), top - 4 + 20 * (k % 4)
        drawing.line(x, y, x + 38, y, **look)
        drawing.words(x + 46, y + 4, words, 12.5, fill=INK)
    drawing.close_group()


def _interval(value_m: float, feet: bool) -> str:
    return f"{value_m:g} m" + (f" ({value_m / FOOT_M:.2g} ft)" if feet else "")


def scale_bar(drawing: Drawing, scale: float, top: float) -> None:
    """A bar of metres and one of feet. Arguments: drawing; scale, of the picture a metre; top."""
    drawing.open_group("scale")
    for unit, unit_m, y in (("m", 1.0, top + 70), ("ft", FOOT_M, top + 91)):
        long = nice_step(110 / scale / unit_m, 1, (1.0, 2.0, 5.0))
        wide = long * unit_m * scale
        drawing.path(
            [(MARGIN, y - 5), (MARGIN, y), (MARGIN + wide, y), (MARGIN + wide, y - 5)], stroke=INK, stroke_width=1.4
        )
        drawing.words(MARGIN + wide + 8, y, f"{long:g} {unit}", 12, fill=INK)
    drawing.close_group()
