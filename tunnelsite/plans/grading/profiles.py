"""Profiles of a grading plan along the ridge and across it: natural ground, finished ground, cut and fill between."""

from __future__ import annotations

import math
import textwrap

import numpy as np

from tunnelsite.core.stakes import end_words
from tunnelsite.core.units import FOOT_M
from tunnelsite.drawing.colours import INK, PAPER, SOFT, cut_fill_colour
from tunnelsite.drawing.contours import nice_step
from tunnelsite.drawing.svg import Drawing
from tunnelsite.plans.grading.plan import GradingPlan

WIDTH, LEFT, RIGHT, TOP = 760.0, 96.0, 24.0, 66.0
PANEL, GAP = 210.0, 100.0
SMALL = 13.0
SEEN_M = 0.002  # what is cut or filled less deep is not seen


def profiles_svg(title: str, plan: GradingPlan, footer: tuple[str, ...] = ()) -> str:
    """Both profiles as an SVG document.

    Arguments: title; plan, a grading plan with heights in their own datum [m]; footer, lines of small text.
    """
    lines = [line for words in footer for line in textwrap.wrap(words, 92)]
    height = TOP + 2 * (PANEL + GAP) + 30 + 17 * len(lines)
    drawing = Drawing(
        WIDTH,
        height,
        f"Profiles: {title}",
        "Ground before and after grading along the ridge and across it, through the middle of the house. Cut is brown, "
        "fill is blue and hatched.",
    )
    hatch = drawing.add(
        "pattern", drawing.defs, "", id="fill-hatch", width=7, height=7, patternUnits="userSpaceOnUse",
        patternTransform="rotate(45)",
    )  # fmt: skip
    drawing.add("line", hatch, "", x1=0, y1=0, x2=0, y2=7, stroke=INK, stroke_width=0.9, stroke_opacity=0.45)
    drawing.rectangle(0, 0, WIDTH, height, fill=PAPER)
    drawing.words(LEFT, 28, title, 20, fill=INK, font_weight="bold")
    start, far, left, right = end_words(plan.place.grid.bearing_deg)
    panels = (
        (False, f"Along the ridge, {start} to {far}", (start, far)),
        (True, f"Across the ridge, {right} to {left}", (right, left)),
    )
    for k, (across, words, ends) in enumerate(panels):
        _panel(drawing, plan, across, words, ends, TOP + k * (PANEL + GAP))
    _key(drawing, TOP + 2 * (PANEL + GAP) - 14, plan)
    for k, words in enumerate(lines):
        drawing.words(LEFT, TOP + 2 * (PANEL + GAP) + 20 + 17 * k, words, SMALL, fill=SOFT)
    return drawing.text


def _panel(drawing: Drawing, plan: GradingPlan, across: bool, words: str, ends: tuple[str, str], top: float) -> None:
    profile = plan.profile(across=across)
    known = np.isfinite(profile.natural_m)
    at, natural, finished = (part[known] for part in (profile.distance_m, profile.natural_m, profile.finished_m))
    low, high = float(min(natural.min(), finished.min())), float(max(natural.max(), finished.max()))
    room = max((high - low) * 0.15, 0.05)
    low, high = low - room, high + room
    wide = WIDTH - LEFT - RIGHT
    scale_x, scale_y = wide / (at[-1] - at[0]), PANEL / (high - low)

    def points(heights: np.ndarray) -> list[tuple[float, float]]:
        x, y = LEFT + (at - at[0]) * scale_x, top + (high - heights) * scale_y
        return list(zip(x.tolist(), y.tolist(), strict=True))

    drawing.open_group(words)
    drawing.words(
        LEFT, top - 12, f"{words}; heights drawn {scale_y / scale_x:.0f} times larger", 14, fill=INK, font_weight="bold"
    )
    _axes(drawing, (float(at[0]), float(at[-1]), low, high), (scale_x, scale_y), top, feet=plan.place.house.feet)
    for high_line, low_line, colour, hatched in (
        (natural, np.minimum(natural, finished), cut_fill_colour(0.6), False),
        (np.maximum(natural, finished), natural, cut_fill_colour(-0.6), True),
    ):
        ring = points(high_line) + points(low_line)[::-1]
        drawing.ring(ring, fill=colour, stroke="none")
        if hatched:
            drawing.ring(ring, fill="url(#fill-hatch)", stroke="none")
    drawing.path(points(natural), stroke=SOFT, stroke_width=1.6, stroke_dasharray="6 4")
    drawing.path(points(finished), stroke=INK, stroke_width=2.2)
    _extents(drawing, plan, across, (float(at[0]), scale_x), top)
    drawing.words(LEFT + 6, top + 18, ends[0], 15, fill=INK, font_weight="bold")
    drawing.words(WIDTH - RIGHT - 6, top + 18, ends[1], 15, fill=INK, font_weight="bold", text_anchor="end")
    drawing.close_group()


def _axes(
    drawing: Drawing, ranges: tuple[float, float, float, float], scales: tuple[float, float], top: float, *, feet: bool
) -> None:
    first, last, low, high = ranges
    drawing.rectangle(LEFT, top, WIDTH - LEFT - RIGHT, PANEL, fill="none", stroke=SOFT, stroke_width=1)
    unit_m, other_m, unit, other = (FOOT_M, 1.0, "ft", "m") if feet else (1.0, FOOT_M, "m", "ft")
    step = nice_step((high - low) / unit_m, 5)
    digits = max(0, -math.floor(math.log10(step) + 1e-9)) + (
        abs(step * 4 - round(step * 4)) < 1e-9 and step % 0.5 != 0 and step < 1
    )
    for k in range(math.ceil(low / unit_m / step), math.floor(high / unit_m / step) + 1):
        y = top + (high - k * step * unit_m) * scales[1]
        drawing.line(LEFT, y, WIDTH - RIGHT, y, stroke=SOFT, stroke_width=0.5, stroke_opacity=0.5)
        drawing.words(LEFT - 8, y + 1, f"{k * step:.{digits}f} {unit}", SMALL, fill=INK, text_anchor="end")
        drawing.words(
            LEFT - 8, y + 15, f"{k * step * unit_m / other_m:.2f} {other}", SMALL, fill=SOFT, text_anchor="end"
        )
    step = nice_step((last - first) / unit_m, 8)
    for k in range(math.ceil(first / unit_m / step), math.floor(last / unit_m / step) + 1):
        x = LEFT + (k * step * unit_m - first) * scales[0]
        drawing.line(x, top + PANEL, x, top + PANEL + 5, stroke=SOFT, stroke_width=1)
        drawing.words(x, top + PANEL + 19, f"{k * step:g} {unit}", SMALL, fill=INK, text_anchor="middle")
        drawing.words(
            x, top + PANEL + 34, f"{k * step * unit_m / other_m:.1f} {other}", SMALL, fill=SOFT, text_anchor="middle"
        )
    words = "from the middle of the house"
    drawing.words(WIDTH - RIGHT, top + PANEL + 52, words, SMALL, fill=SOFT, text_anchor="end")


def _extents(drawing: Drawing, plan: GradingPlan, across: bool, start: tuple[float, float], top: float) -> None:
    """Where house and pad end, as bars along the lower edge."""
    place = plan.place
    sides = (place.house.width_m, place.pad.width_m) if across else (place.house.length_m, place.pad.length_m)
    for size, words, y, wide in ((sides[0], "house", top + PANEL - 10, 4), (sides[1], "pad", top + PANEL - 22, 1.2)):
        x = [LEFT + (end - start[0]) * start[1] for end in (-size / 2, size / 2)]
        drawing.line(x[0], y, x[1], y, stroke=INK, stroke_width=wide)
        drawing.words(x[1] + 6, y + 4, words, SMALL, fill=INK, paint_order="stroke", stroke=PAPER, stroke_width=3)


def _key(drawing: Drawing, y: float, plan: GradingPlan) -> None:
    items: list[tuple[str, dict[str, object] | None, str | None]] = [
        ("natural ground", {"stroke": SOFT, "stroke_width": 1.6, "stroke_dasharray": "6 4"}, None),
        ("finished ground", {"stroke": INK, "stroke_width": 2.2}, None),
    ]
    shown = (("cut", plan.pad.max_cut_m, 0.6), ("fill", plan.pad.max_fill_m, -0.6))
    items += [(words, None, cut_fill_colour(share)) for words, deepest_m, share in shown if deepest_m > SEEN_M]
    x = LEFT
    drawing.open_group("key")
    for words, look, colour in items:
        if look is not None:
            drawing.line(x, y - 4, x + 36, y - 4, **look)
        else:
            drawing.rectangle(x, y - 12, 36, 15, fill=colour, stroke=SOFT, stroke_width=0.6)
            if words == "fill":
                drawing.rectangle(x, y - 12, 36, 15, fill="url(#fill-hatch)")
        drawing.words(x + 44, y, words, 13, fill=INK)
        x += 60 + 8.2 * len(words) + 8
    drawing.close_group()
