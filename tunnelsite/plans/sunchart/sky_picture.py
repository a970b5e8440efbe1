"""The sky of a sun chart as a small picture for a printed page: horizon and sun, with few words that can be read at half its width."""

from __future__ import annotations

import numpy as np

from tunnelsite.drawing.svg import Drawing
from tunnelsite.plans.sunchart.chart import SunChart, SunDay
from tunnelsite.plans.sunchart.frame import SkyWindow, sky_of
from tunnelsite.plans.sunchart.picture import (
    COMPASS,
    INK,
    PAPER,
    SKY,
    draw_bands,
    draw_grid,
    draw_patterns,
    draw_silhouettes,
    draw_sun_path,
    shade,
)

WIDTH, HEIGHT = 520.0, 258.0  # 14 units are 7 pt where the picture is 92 mm wide
LEFT, TOP, RIGHT, BOTTOM = 44.0, 10.0, 20.0, 44.0
SIZE = 14.0
EVERY_DEG = 20


def sky_svg(chart: SunChart) -> str:
    """The sky of a sun chart as an SVG document; hours and names of what hides the sun are left to the words beside it."""
    drawing = Drawing(WIDTH, HEIGHT, f"Sun chart: {chart.title}", "Horizon and the sun's paths through the year.")
    sky = sky_of(chart, LEFT, TOP, WIDTH - LEFT - RIGHT, HEIGHT - TOP - BOTTOM)
    draw_patterns(drawing, sky)
    drawing.rectangle(0, 0, WIDTH, HEIGHT, fill=PAPER)
    drawing.rectangle(sky.left, sky.top, sky.width, sky.height, fill=SKY)
    drawing.open_group("Sky by azimuth and elevation", clip_path="url(#panel)")
    draw_bands(drawing, sky, chart)
    draw_grid(drawing, sky)
    draw_silhouettes(drawing, sky, chart)
    for day in chart.days:
        draw_sun_path(drawing, sky, chart, day)
    drawing.close_group()
    for day in named_days(chart):
        _name(drawing, sky, chart, day)
    _axes(drawing, sky)
    return drawing.text


def named_days(chart: SunChart) -> list[SunDay]:
    """The days that get a name: with the highest sun, with the lowest, and one between."""
    up = sorted((day for day in chart.days if len(day.minutes)), key=lambda day: float(day.elevation_deg.max()))
    if len(up) < 3:
        return up
    tops = [float(day.elevation_deg.max()) for day in up]
    middle = int(np.argmin(np.abs(np.array(tops) - (tops[0] + tops[-1]) / 2)))
    return [up[0], up[middle], up[-1]] if 0 < middle < len(up) - 1 else [up[0], up[-1]]


def _name(drawing: Drawing, sky: SkyWindow, chart: SunChart, day: SunDay) -> None:
    k = int(np.argmax(day.elevation_deg))
    x = sky.x(float(sky.turn(day.azimuth_deg[k : k + 1])[0]))
    y = max(sky.y(float(day.elevation_deg[k])), sky.top + 10)
    wide = 12 + 8.2 * len(day.name)
    x = min(max(x, sky.left + wide / 2 + 2), sky.left + sky.width - wide / 2 - 2)
    drawing.rectangle(x - wide / 2, y - 9, wide, 18, rx=8, fill=PAPER, stroke=shade(chart, day), stroke_width=0.9)
    drawing.words(x, y + 5, day.name, SIZE, fill=shade(chart, day), text_anchor="middle", font_weight="600")


def _axes(drawing: Drawing, sky: SkyWindow) -> None:
    bottom = sky.top + sky.height
    drawing.rectangle(sky.left, sky.top, sky.width, sky.height, fill="none", stroke=INK, stroke_width=1.2)
    for elevation in range(0, int(sky.top_deg) + 1, EVERY_DEG):
        drawing.words(sky.left - 6, sky.y(elevation) + 5, f"{elevation}°", SIZE, fill=INK, text_anchor="end")
    for turn in range(0, int(sky.span_deg) + 1, 15):
        azimuth = round(turn + sky.west_deg) % 360
        if azimuth in COMPASS:
            x = sky.x(turn)
            drawing.line(x, bottom, x, bottom + 6, stroke=INK, stroke_width=1)
            drawing.words(x, bottom + 20, COMPASS[azimuth], 15, fill=INK, font_weight="600", text_anchor="middle")
    words = "Direction from true north; height above level"
    drawing.words(sky.left + sky.width / 2, bottom + 38, words, SIZE, fill=INK, text_anchor="middle")
