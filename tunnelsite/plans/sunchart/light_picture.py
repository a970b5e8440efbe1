"""Light by month as bars: what reaches the crop under its cover, against the same on an open site and what leaf crops want."""

from __future__ import annotations

from tunnelsite.core.units import MONTHS
from tunnelsite.drawing.colours import INK, PAPER, SOFT
from tunnelsite.drawing.contours import nice_step
from tunnelsite.drawing.svg import Drawing
from tunnelsite.io.formats.styles import colour
from tunnelsite.plans.sunchart.chart import SunChart
from tunnelsite.sun.crops import CROP_BANDS, daily_light_integral
from tunnelsite.sun.received import Light
from tunnelsite.sun.season import judged_months

WIDTH, HEIGHT, LEFT, RIGHT, TOP, BOTTOM = 520.0, 300.0, 44.0, 12.0, 62.0, 26.0  # as the picture of the sky
BAR = 0.62  # of a month's width


def light_svg(chart: SunChart, light: Light, transmission: float) -> str:
    """The bars as an SVG document. Arguments: chart; light of its place; transmission of cover, frame and dirt together, 0..1."""
    here = [daily_light_integral(sums.mean_daily_mj, transmission) for sums in light.months]
    opened = [
        daily_light_integral((sums.open_beam_kwh + sums.open_diffuse_kwh) * 3.6 / sums.days, transmission)
        for sums in light.months
    ]
    most = max([*opened, *here, 1.0]) * 1.05
    drawing = Drawing(
        WIDTH,
        HEIGHT,
        f"Light by month: {chart.title}",
        "Bars of the daily light integral under the cover, month by month.",
    )
    drawing.rectangle(0, 0, WIDTH, HEIGHT, fill=PAPER)
    scale = (HEIGHT - TOP - BOTTOM) / most
    floor = HEIGHT - BOTTOM
    step = nice_step(most, 5, (1.0, 2.0, 5.0))
    for k in range(int(most / step) + 1):
        y = floor - k * step * scale
        drawing.line(LEFT, y, WIDTH - RIGHT, y, stroke="#d5d9e0", stroke_width=0.8)
        drawing.words(LEFT - 8, y + 5, f"{k * step:g}", 14, fill=INK, text_anchor="end")
    wide = (WIDTH - LEFT - RIGHT) / 12
    for k in range(12):
        _month(drawing, chart, k, (here[k] * scale, opened[k] * scale), (LEFT + (k + 0.5) * wide, wide * BAR, floor))
    _crop_lines(drawing, most, scale, floor)
    drawing.words(LEFT, 20, "Daily light under the cover, mol m⁻² d⁻¹", 15, fill=INK, font_weight="600")
    drawing.words(
        LEFT,
        38,
        "bars: here, dark in the crop months; outline: open site",
        14,
        fill=SOFT,
    )
    drawing.line(LEFT, floor, WIDTH - RIGHT, floor, stroke=INK, stroke_width=1.4)
    return drawing.text


def _month(
    drawing: Drawing, chart: SunChart, k: int, tall: tuple[float, float], at: tuple[float, float, float]
) -> None:
    (here, opened), (x, wide, floor) = tall, at
    crop = k + 1 in judged_months(chart.crop_days)
    drawing.rectangle(x - wide / 2, floor - here, wide, max(here, 0.0), fill=colour("cividis", 0.12 if crop else 0.72))
    drawing.rectangle(x - wide / 2, floor - opened, wide, max(opened, 0.0), fill="none", stroke=INK, stroke_width=1.2,
                      stroke_dasharray="4 3")  # fmt: skip
    drawing.words(
        x, floor + 18, MONTHS[k].capitalize(), 14, fill=INK, text_anchor="middle", font_weight="700" if crop else "400"
    )


def _crop_lines(drawing: Drawing, most: float, scale: float, floor: float) -> None:
    """Lines at what two groups of crops want at least; the table gives their sources."""
    for band in CROP_BANDS[:2]:
        if band.least is None or band.least > most:
            continue
        y = floor - band.least * scale
        drawing.line(LEFT, y, WIDTH - RIGHT, y, stroke=PAPER, stroke_width=4, stroke_opacity=0.8)
        drawing.line(LEFT, y, WIDTH - RIGHT, y, stroke="#8a2f06", stroke_width=1.8, stroke_dasharray="10 4")
        words = f"{band.name.replace(' and herbs', '')}: {band.least:g} wanted"
        drawing.words(WIDTH - RIGHT - 4, y - 5, words, 14, fill="#8a2f06", font_weight="600", text_anchor="end",
                      paint_order="stroke", stroke=PAPER, stroke_width=4, stroke_linejoin="round")  # fmt: skip
