"""The lower half of the sun chart's picture: one bar a day with its hidden hours, and the list of what hides the sun."""

from __future__ import annotations

import textwrap
from collections.abc import Callable

from tunnelsite.drawing.svg import Drawing
from tunnelsite.plans.sunchart.blockers import Blocker
from tunnelsite.plans.sunchart.chart import SunChart, SunDay
from tunnelsite.plans.sunchart.words import CAVEAT, blocker_words, stretch_words
from tunnelsite.sun.position import SUNLESS

BAR_LEFT, BAR_RIGHT, RIGHT, ROW, BAR = 128.0, 930.0, 1090.0, 21.0, 14.0
HEAD, GAP, LIST_ROW = 46.0, 40.0, 20.0
INK, QUIET, FAINT, LOST, CLEAR, OUT = "#1f2430", "#5b6270", "#d5d9e0", "#00224e", "#f3cf45", "#faf0c0"


def lower_height(chart: SunChart) -> float:
    """Room that the bars and the list take [picture units]."""
    return HEAD + ROW * len(chart.days) + GAP + HEAD + LIST_ROW * (len(_main(chart)) + 1) + 44 + 15 * len(_notes(chart))


def draw_days(drawing: Drawing, chart: SunChart, top: float) -> float:
    """One bar a day; returns where the next part may begin."""
    drawing.words(62, top, "When the sun is hidden", 16, fill=INK, font_weight="600")
    _legend(drawing, chart, top - 5)
    first, last = _hours(chart)
    scale = (BAR_RIGHT - BAR_LEFT) / ((last - first) * 60)
    down = top + HEAD
    bottom = down + ROW * len(chart.days)
    for hour in range(first, last + 1):
        x = BAR_LEFT + (hour - first) * 60 * scale
        drawing.line(x, down - 6, x, bottom, stroke=FAINT, stroke_width=1)
        if hour % (1 if last - first <= 18 else 2) == 0:
            drawing.words(x, down - 12, str(hour % 24), 11, fill=QUIET, text_anchor="middle")
    drawing.words(RIGHT - 88, down - 12, "clear", 11, fill=QUIET, text_anchor="end")
    drawing.words(RIGHT, down - 12, "of possible h", 11, fill=QUIET, text_anchor="end")
    for row, day in enumerate(chart.days):
        _bar(drawing, chart, day, down + ROW * row, lambda minute: BAR_LEFT + (minute - first * 60) * scale)
    return bottom + GAP


def _hours(chart: SunChart) -> tuple[int, int]:
    ends = [edge for day in chart.days if len(day.minutes) for edge in (day.minutes[0], day.minutes[-1])]
    return (int(min(ends) // 60), int(-(-max(ends) // 60))) if ends else (0, 24)


def _legend(drawing: Drawing, chart: SunChart, y: float) -> None:
    x = 290.0
    for fill, words in ((CLEAR, "clear, crop months"), (OUT, "clear, other months"), ("url(#lost)", "hidden")):
        drawing.rectangle(x, y - 9, 22, 12, fill=fill, stroke=QUIET, stroke_width=0.6)
        drawing.words(x + 28, y + 1, words, 12, fill=QUIET)
        x += 46 + 6.6 * len(words)
    if chart.ground is not None:
        for fill, words in (("url(#standing)", "stands on the ground"), ("#4b4f5a", "ground")):
            drawing.rectangle(x, y - 9, 22, 12, fill=fill)
            drawing.words(x + 28, y + 1, words, 12, fill=QUIET)
            x += 46 + 6.6 * len(words)


def _bar(drawing: Drawing, chart: SunChart, day: SunDay, y: float, at: Callable[[float], float]) -> None:
    crop = chart.in_crop(day.month, day.day)
    drawing.words(
        BAR_LEFT - 10, y + 11.5, day.name, 12, fill=INK, text_anchor="end", font_weight="600" if crop else "400"
    )
    if not len(day.minutes):
        drawing.words((BAR_LEFT + BAR_RIGHT) / 2, y + 11.5, SUNLESS, 12, fill=QUIET, text_anchor="middle")
        drawing.words(RIGHT, y + 11.5, "0", 12, fill=QUIET, text_anchor="end")
        return
    start, end = float(day.minutes[0]) - 0.5, float(day.minutes[-1]) + 0.5
    drawing.rectangle(
        at(start), y, at(end) - at(start), BAR, fill=CLEAR if crop else OUT, stroke=QUIET, stroke_width=0.6
    )
    numbers = {blocker.number: blocker for blocker in chart.blockers}
    for stretch in chart.stretches:
        if (stretch.month, stretch.day) != (day.month, day.day):
            continue
        x, wide = at(stretch.start_min), at(stretch.end_min) - at(stretch.start_min)
        drawing.rectangle(x, y, wide, BAR, fill="url(#lost)")
        if wide >= 13 and not numbers[stretch.blocker].minor:
            drawing.words(
                x + wide / 2, y + 11, str(stretch.blocker), 11, fill="#ffffff", font_weight="700", text_anchor="middle"
            )
    drawing.words(
        RIGHT - 88,
        y + 11.5,
        f"{day.clear_h:.1f}",
        12,
        fill=INK,
        text_anchor="end",
        font_weight="600" if crop else "400",
    )
    drawing.words(RIGHT, y + 11.5, f"{day.possible_h:.1f}", 12, fill=QUIET, text_anchor="end")


def _main(chart: SunChart) -> list[Blocker]:
    return [blocker for blocker in chart.blockers if not blocker.minor]


def draw_blockers(drawing: Drawing, chart: SunChart, top: float) -> None:
    """The list of what hides the sun, most of it by number; what takes next to nothing in one line; notes."""
    drawing.words(62, top, "What hides it", 16, fill=INK, font_weight="600")
    columns = (92.0, 272.0, 366.0, 672.0, 790.0)
    for x, words in zip(columns, ("", "azimuth", "how far, how tall", "highest point", "when"), strict=True):
        drawing.words(x, top, words, 11, fill=QUIET)
    y = top + 26
    for blocker in _main(chart):
        drawing.add("circle", cx=71, cy=y - 4, r=8.5, fill="#ffffff", stroke=LOST, stroke_width=1.5)
        drawing.words(71, y, str(blocker.number), 11, fill=LOST, font_weight="700", text_anchor="middle")
        what, where, far, high = blocker_words(blocker, feet=chart.feet)
        for x, words in zip(
            columns, (shortened(what, 24), where, far, high, stretch_words(chart, blocker.number)), strict=True
        ):
            drawing.words(x, y, words, 12.5, fill=INK)
        y += LIST_ROW
    minor = [blocker for blocker in chart.blockers if blocker.minor]
    if minor:
        minutes = sum(blocker.minutes for blocker in minor)
        words = f"and {len(minor)} more that take {minutes} minutes on all {len(chart.days)} days together: see the CSV"
        drawing.words(92, y, words, 12.5, fill=QUIET)
    elif not chart.blockers:
        drawing.words(92, y, "nothing on these days", 12.5, fill=QUIET)
    y += 30
    for note in _notes(chart):
        drawing.words(62, y, note, 11, fill=QUIET)
        y += 15


def _notes(chart: SunChart) -> list[str]:
    """The caveat and the notes, cut into lines."""
    return [line for text in (CAVEAT, *(f"Note: {note}" for note in chart.notes)) for line in textwrap.wrap(text, 165)]


def shortened(text: str, most: int) -> str:
    """The text with its end replaced by an ellipsis where it is longer than `most` letters."""
    return text if len(text) <= most else text[: most - 1] + "\N{HORIZONTAL ELLIPSIS}"
