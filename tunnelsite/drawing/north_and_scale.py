"""North arrow and scale bars of a map whose true north is up."""

from __future__ import annotations

from dataclasses import dataclass

from tunnelsite.core.units import FOOT_M
from tunnelsite.drawing.colours import INK
from tunnelsite.drawing.contours import nice_step
from tunnelsite.drawing.svg import Drawing

BARS_APART = 24.0


@dataclass(frozen=True)
class BarRoom:
    """Where scale bars stand, in the picture's units: left, base, of the first bar; aim, about how long; longest."""

    left: float
    base: float
    aim: float
    longest: float


def north_arrow(drawing: Drawing, x: float, y: float) -> None:
    """An arrow with its letter round a point."""
    drawing.add("path", None, "", d=f"M{x} {y - 24}l8 24l-8 -6l-8 6z", fill=INK)
    drawing.words(x, y + 16, "N", 15, fill=INK, text_anchor="middle", font_weight="700")


def scale_bars(drawing: Drawing, room: BarRoom, scale: float, *, feet: bool) -> None:
    """A bar in the user's unit, one in the other below it. Arguments: drawing; room; scale, of the picture a metre; feet."""
    units = (("ft", FOOT_M), ("m", 1.0)) if feet else (("m", 1.0), ("ft", FOOT_M))
    for (unit, unit_m), y in zip(units, (room.base, room.base + BARS_APART), strict=True):
        long = nice_step(room.aim / scale / unit_m, 1, (1.0, 2.0, 5.0))
        wide = long * unit_m * scale
        while wide > room.longest:
            long, wide = long / 2, wide / 2
        ends = (room.left, room.left + wide)
        drawing.path([(ends[0], y - 6), (ends[0], y), (ends[1], y), (ends[1], y - 6)], stroke=INK, stroke_width=1.6)
        drawing.words(ends[1] + 6, y + 2, f"{long:,g} {unit}", 14, fill=INK)
