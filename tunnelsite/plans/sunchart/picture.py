"""The sun chart as a picture (SVG): the sky with horizon and sun above, the days with their hidden hours below."""

from __future__ import annotations

import numpy as np

from tunnelsite.drawing.svg import Drawing
from tunnelsite.io.formats.styles import colour
from tunnelsite.plans.sunchart.chart import SunChart, SunDay
from tunnelsite.plans.sunchart.frame import HourLine, SkyWindow, all_days, crop_days, hour_lines, sky_of, sun_band
from tunnelsite.plans.sunchart.lower import draw_blockers, draw_days, lower_height
from tunnelsite.plans.sunchart.words import description, subtitle
from tunnelsite.sun.position import SUNLESS

WIDTH, LEFT, PANEL_WIDTH, PANEL_TOP, PANEL_HEIGHT = 1120.0, 62.0, 1028.0, 122.0, 430.0
LOWER_GAP = 96.0
DRAWN_EVERY = 4  # minutes between the points of a path
INK, QUIET, FAINT, PAPER = "#1f2430", "#5b6270", "#d5d9e0", "#ffffff"
SKY, BAND, CROP_BAND = "#f3f6fa", "#fdf6d8", "#fbe9a2"
GROUND, STANDING, LOST = "#4b4f5a", "#8a909c", "#00224e"
COMPASS = {0: "N", 45: "NE", 90: "E", 135: "SE", 180: "S", 225: "SW", 270: "W", 315: "NW"}
MIDWINTER_SHADE, MIDSUMMER_SHADE = 0.02, 0.58  # of viridis: from violet to green, dark enough for white paper


def sun_chart_svg(chart: SunChart) -> str:
    """The picture of a sun chart as an SVG document: text stays text, title and description for screen readers, legible in grey."""
    height = PANEL_TOP + PANEL_HEIGHT + LOWER_GAP + lower_height(chart)
    drawing = Drawing(WIDTH, height, f"Sun chart: {chart.title}", description(chart))
    sky = sky_of(chart, LEFT, PANEL_TOP, PANEL_WIDTH, PANEL_HEIGHT)
    draw_patterns(drawing, sky)
    drawing.rectangle(0, 0, WIDTH, height, fill=PAPER)
    drawing.words(LEFT, 38, chart.title, 24, fill=INK, font_weight="600")
    for line, text in enumerate(subtitle(chart)):
        drawing.words(LEFT, 60 + 17 * line, text, 13, fill=QUIET)
    drawing.rectangle(sky.left, sky.top, sky.width, sky.height, fill=SKY)
    drawing.open_group("Sky by azimuth and elevation", clip_path="url(#panel)")
    draw_bands(drawing, sky, chart)
    draw_grid(drawing, sky)
    lines = hour_lines(chart.sun_place, chart.clock)
    for hour_line in lines:
        _hour_line(drawing, sky, hour_line)
    draw_silhouettes(drawing, sky, chart)
    for day in sorted(chart.days, key=lambda day: chart.in_crop(day.month, day.day)):
        draw_sun_path(drawing, sky, chart, day)
    drawing.close_group()
    _labels(drawing, sky, chart, lines)
    if not any(len(day.minutes) for day in chart.days):
        drawing.words(
            sky.left + sky.width / 2,
            sky.top + 60,
            f"On all of these days {SUNLESS}.",
            18,
            fill=INK,
            text_anchor="middle",
        )
    _axes(drawing, sky)
    top = draw_days(drawing, chart, PANEL_TOP + PANEL_HEIGHT + LOWER_GAP)
    draw_blockers(drawing, chart, top)
    return drawing.text


def shade(chart: SunChart, day: SunDay) -> str:
    """The colour of a day's path: by how high the sun stands at its noon, dark violet in midwinter to green in midsummer."""
    tops = [float(other.elevation_deg.max(initial=0.0)) for other in chart.days]
    low, high = min(tops), max(tops)
    place = (float(day.elevation_deg.max(initial=0.0)) - low) / (high - low) if high > low else 0.0
    return colour("viridis", MIDWINTER_SHADE + (MIDSUMMER_SHADE - MIDWINTER_SHADE) * place)


def draw_patterns(drawing: Drawing, sky: SkyWindow) -> None:
    """Hatchings of what hides the sun, and the panel's edge."""
    clip = drawing.add("clipPath", drawing.defs, id="panel")
    drawing.add("rect", clip, x=sky.left, y=sky.top, width=sky.width, height=sky.height)
    for name, back, front, turn in (("standing", STANDING, "#9ea4af", 45), ("lost", LOST, "#35507c", -45)):
        pattern = drawing.add(
            "pattern",
            drawing.defs,
            id=name,
            width=7,
            height=7,
            patternUnits="userSpaceOnUse",
            patternTransform=f"rotate({turn})",
        )
        drawing.add("rect", pattern, width=7, height=7, fill=back)
        drawing.add("rect", pattern, width=2, height=7, fill=front)


def draw_bands(drawing: Drawing, sky: SkyWindow, chart: SunChart) -> None:
    """The part of the sky that the sun crosses in the year, and in the crop months."""
    for days, fill in ((all_days(), BAND), (crop_days(chart), CROP_BAND)):
        for shape in _strips(sky, *sun_band(sky, chart.sun_place, days)):
            drawing.ring(shape, fill=fill)


def _strips(sky: SkyWindow, turn: np.ndarray, low: np.ndarray, high: np.ndarray) -> list[list[tuple[float, float]]]:
    """Outlines of the area between two curves, one for each run without a gap."""
    index = np.flatnonzero(np.isfinite(low) & np.isfinite(high) & (high > low))
    runs = np.split(index, np.flatnonzero(np.diff(index) > 1) + 1) if len(index) else []
    return [
        [(sky.x(turn[k]), sky.y(high[k])) for k in run] + [(sky.x(turn[k]), sky.y(low[k])) for k in run[::-1]]
        for run in runs
        if len(run) > 1
    ]


def draw_silhouettes(drawing: Drawing, sky: SkyWindow, chart: SunChart) -> None:
    """What stands on the horizon, the ground, and what of the sun's band they hide."""
    turn = np.arange(0.0, sky.span_deg + 0.05, 0.25)
    azimuth = turn + sky.west_deg
    everything = np.maximum(chart.horizon.along(chart.horizon.top_deg, azimuth), 0.0)
    ground = (
        np.zeros(len(turn))
        if chart.ground is None
        else np.maximum(chart.ground.along(chart.ground.top_deg, azimuth), 0.0)
    )
    plain = "url(#standing)" if chart.ground is not None else STANDING
    for shape in _strips(sky, turn, np.zeros(len(turn)), everything):
        drawing.ring(shape, fill=plain)
    for shape in _strips(sky, turn, np.zeros(len(turn)), ground):
        drawing.ring(shape, fill=GROUND)
    at, low, high = sun_band(sky, chart.sun_place, all_days())
    hidden = np.maximum(chart.horizon.along(chart.horizon.top_deg, at + sky.west_deg), 0.0)
    for shape in _strips(sky, at, low, np.minimum(high, hidden)):
        drawing.ring(shape, fill="url(#lost)", fill_opacity=0.82)
    edge = [(sky.x(t), sky.y(h)) for t, h in zip(turn, everything, strict=True)]
    drawing.path(edge, stroke=INK, stroke_width=1.3, stroke_linejoin="round")


def draw_grid(drawing: Drawing, sky: SkyWindow) -> None:
    """Lines of azimuth and elevation."""
    for elevation in range(10, int(sky.top_deg), 10):
        drawing.line(sky.left, sky.y(elevation), sky.left + sky.width, sky.y(elevation), stroke=FAINT, stroke_width=0.8)
    for turn in range(0, int(sky.span_deg) + 1, 15):
        major = round(turn + sky.west_deg) % 45 == 0
        drawing.line(
            sky.x(turn), sky.top, sky.x(turn), sky.top + sky.height, stroke=FAINT, stroke_width=1.1 if major else 0.6
        )


def _hour_line(drawing: Drawing, sky: SkyWindow, line: HourLine) -> None:
    up = np.isfinite(line.elevation_deg)
    for run in np.split(np.arange(len(up)), np.flatnonzero(np.diff(up)) + 1):
        if up[run[0]]:
            for piece in sky.pieces(line.azimuth_deg[run], line.elevation_deg[run]):
                drawing.path(
                    piece, stroke="#8b8f99", stroke_width=0.9, stroke_dasharray="1.5 3", stroke_linecap="round"
                )


def draw_sun_path(drawing: Drawing, sky: SkyWindow, chart: SunChart, day: SunDay) -> None:
    """The sun's way on one day, broken where it is hidden."""
    if not len(day.minutes):
        return
    wide = 2.6 if chart.in_crop(day.month, day.day) else 1.4
    cuts = np.flatnonzero(np.diff(day.clear.astype(int)) | (np.diff(day.minutes) > 1.5)) + 1
    drawing.open_group(f"Sun on {day.name}: {day.clear_h:.1f} of {day.possible_h:.1f} hours clear")
    for run in np.split(np.arange(len(day.minutes)), cuts):
        run = np.append(run[:-1:DRAWN_EVERY], run[-1])  # the ends of a stretch stay to the minute
        for piece in sky.pieces(day.azimuth_deg[run], day.elevation_deg[run]):
            if day.clear[run[0]]:
                drawing.path(piece, stroke=shade(chart, day), stroke_width=wide, stroke_linejoin="round")
            else:
                drawing.path(piece, stroke="#fee838", stroke_width=max(1.2, wide - 0.8), stroke_dasharray="5 3.5")
    drawing.close_group()


class _Taken:
    """Boxes that are written on, so that no label lands on another."""

    def __init__(self) -> None:
        self.boxes: list[tuple[float, float, float, float]] = []

    def free(self, x: float, y: float, wide: float, high: float) -> bool:
        return all(abs(x - a) * 2 >= wide + w or abs(y - b) * 2 >= high + h for a, b, w, h in self.boxes)

    def take(self, x: float, y: float, wide: float, high: float) -> None:
        self.boxes.append((x, y, wide, high))


def _labels(drawing: Drawing, sky: SkyWindow, chart: SunChart, lines: tuple[HourLine, ...]) -> None:
    taken = _Taken()
    _day_labels(drawing, sky, chart, taken)
    _blocker_numbers(drawing, sky, chart, taken)
    for line in lines:
        known = np.isfinite(line.elevation_deg)
        k = int(np.nanargmax(np.where(known, line.elevation_deg, -1.0)))
        turn = float(sky.turn(line.azimuth_deg[k : k + 1])[0])
        x, y = sky.x(turn), max(sky.y(line.elevation_deg[k]) - 16, sky.top + 10)
        x = min(max(x, sky.left + 17), sky.left + sky.width - 17)
        if turn <= sky.span_deg and line.elevation_deg[k] > 3 and taken.free(x, y, 26, 13):
            taken.take(x, y, 26, 13)
            drawing.rectangle(x - 14, y - 6.5, 28, 13, rx=6, fill=SKY, fill_opacity=0.85)
            drawing.words(x, y + 4, f"{line.hour} h", 11, fill=QUIET, text_anchor="middle")


def _day_labels(drawing: Drawing, sky: SkyWindow, chart: SunChart, taken: _Taken) -> None:
    """Names of the days on their path at its highest point; two days on one path share a label."""
    groups: list[tuple[float, float, list[SunDay]]] = []
    for day in chart.days:
        if not len(day.minutes):
            continue
        k = int(np.argmax(day.elevation_deg))
        x, y = sky.x(float(sky.turn(day.azimuth_deg[k : k + 1])[0])), sky.y(float(day.elevation_deg[k]))
        same = next((group for group in groups if abs(group[1] - y) < 9 and abs(group[0] - x) < 90), None)
        if same is None:
            groups.append((x, y, [day]))
        else:
            same[2].append(day)
    for x, y, days in groups:
        text = ", ".join(day.name for day in days)
        wide = 10 + 7.0 * len(text)
        at = min(max(x, sky.left + wide / 2 + 2), sky.left + sky.width - wide / 2 - 2)
        places = [
            (at, y),
            *((at + side * step, y) for step in (wide * 0.6, wide * 1.2, wide * 1.8) for side in (1, -1)),
        ]
        spot = next((place for place in places if taken.free(*place, wide, 15)), places[0])
        spot = (spot[0], max(spot[1], sky.top + 9))
        taken.take(*spot, wide, 15)
        weight = "600" if any(chart.in_crop(day.month, day.day) for day in days) else "400"
        drawing.rectangle(
            spot[0] - wide / 2,
            spot[1] - 7.5,
            wide,
            15,
            rx=7,
            fill=PAPER,
            stroke=shade(chart, days[0]),
            stroke_width=0.8,
        )
        drawing.words(
            spot[0], spot[1] + 4.2, text, 12, fill=shade(chart, days[0]), text_anchor="middle", font_weight=weight
        )


def _blocker_numbers(drawing: Drawing, sky: SkyWindow, chart: SunChart, taken: _Taken) -> None:
    for blocker in chart.blockers:
        turn = float(sky.turn(np.array([blocker.top_azimuth_deg]))[0])
        if blocker.minor or turn > sky.span_deg:
            continue
        x, y = sky.x(turn), max(sky.y(blocker.top_deg) - 13, sky.top + 12)
        places = [
            (x, y),
            *((x + 11 * side * step, y + 9 * up) for step in range(1, 8) for up in range(step) for side in (1, -1)),
        ]
        x, y = next((place for place in places if taken.free(*place, 21, 21)), places[0])
        taken.take(x, y, 21, 21)
        drawing.add("circle", cx=x, cy=y, r=9.5, fill=PAPER, stroke=LOST, stroke_width=1.6)
        drawing.words(x, y + 4.2, str(blocker.number), 12, fill=LOST, font_weight="700", text_anchor="middle")


def _axes(drawing: Drawing, sky: SkyWindow) -> None:
    bottom = sky.top + sky.height
    drawing.rectangle(sky.left, sky.top, sky.width, sky.height, fill="none", stroke=INK, stroke_width=1.2)
    for elevation in range(0, int(sky.top_deg) + 1, 10):
        drawing.words(sky.left - 8, sky.y(elevation) + 4, f"{elevation}°", 12, fill=INK, text_anchor="end")
    for turn in range(0, int(sky.span_deg) + 1, 15):
        azimuth = round(turn + sky.west_deg) % 360
        x = sky.x(turn)
        drawing.line(x, bottom, x, bottom + (7 if azimuth in COMPASS else 4), stroke=INK, stroke_width=1)
        drawing.words(x, bottom + 20, f"{azimuth}°", 11, fill=QUIET, text_anchor="middle")
        if azimuth in COMPASS:
            drawing.words(x, bottom + 36, COMPASS[azimuth], 14, fill=INK, font_weight="600", text_anchor="middle")
    drawing.words(
        sky.left + sky.width / 2, bottom + 54, "Azimuth from true north", 12, fill=QUIET, text_anchor="middle"
    )
    middle = sky.top + sky.height / 2
    drawing.words(
        16,
        middle,
        "Elevation above level",
        12,
        fill=QUIET,
        text_anchor="middle",
        transform=f"rotate(-90 16 {middle:.0f})",
    )
