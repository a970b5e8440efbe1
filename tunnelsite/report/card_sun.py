"""Sun and light of one candidate: the sun chart, light by month as bars, and the same as a table."""

from __future__ import annotations

from xml.etree.ElementTree import Element

from tunnelsite.core.sources import sources
from tunnelsite.core.units import FOOT_M, MONTHS
from tunnelsite.drawing.markup import Content, named, picture, tag
from tunnelsite.drawing.thinned import short_svg
from tunnelsite.plans.sunchart.chart import SunChart
from tunnelsite.plans.sunchart.sky_picture import sky_svg
from tunnelsite.plans.sunchart.words import lost_words
from tunnelsite.report.candidate_study import Study
from tunnelsite.sun.crops import CROP_BANDS, CropBand, daily_light_integral, default_transmission
from tunnelsite.sun.received import Light

NAMED_BLOCKERS = 4


def sun_part(study: Study, feet: bool, client: bool) -> Element:
    """Where the sun comes from and what it brings."""
    title, plan = tag("h4", "Sun and light"), study.sun
    if plan is None:
        return tag(
            "section", title, tag("p", "No sun chart: " + study.missing.get("sun", "not assessed")), class_="part"
        )
    chart: SunChart = plan.detail
    cover = plan.summary["cover"]
    words = f"Sun chart of option {study.label}: horizon and the sun's paths by month; hours of sun stand in the table."
    caption = tag("figcaption", "Sun chart: the sun's way month by month and what hides it")
    small = tag("figure", picture(short_svg(sky_svg(chart)), words), caption, class_=None if client else "paper-only")
    whole = None
    if not client:
        whole = tag("figure", picture(short_svg(plan.pictures["chart"]), f"{words} Times: {chart.clock.words}."),
                    tag("figcaption", f"Sun chart, in {chart.clock.words}"), class_="screen-only")  # fmt: skip
    words = f"Daily light under the cover at option {study.label} by month, as bars."
    bars = picture(plan.pictures["light_bars"], words)
    source = (
        "Light that reaches the crop under the cover"
        if client
        else f"Light that reaches the crop under {cover['source']}"
    )
    light = tag("figure", bars, tag("figcaption", source), class_="screen-only" if client else None)
    beside = tag("div", light, None if client else light_table(chart, default_transmission()[0]))
    lines = tag("ul", *_sun_words(chart, _light(chart), feet))
    figures = tag("div", whole, small, beside, class_="figures sun")
    return tag("section", title, lines, figures, class_="part sun-part")


def _sun_words(chart: SunChart, light: Light, feet: bool) -> list[Element]:
    crop = light.crop_months
    share = crop.reason if crop.total_share is None else f"{_percent(crop.total_share)} of the light of an open site"
    lines = [tag("li", f"In the crop months the middle of the house gets {share} (direct and from the sky).")]
    shortest, lost = min(chart.days, key=lambda day: day.possible_h), lost_words(chart)
    clear = f"On {shortest.name} the sun is clear for {shortest.clear_h:.1f} of {shortest.possible_h:.1f} hours."
    lines.append(tag("li", f"It {lost} ({_clock(chart)}), the most of the chart's days with crops." if lost else clear))
    hides: list[Content] = []
    for blocker in sorted(chart.blockers, key=lambda blocker: -blocker.minutes)[:NAMED_BLOCKERS]:
        far = ""
        if blocker.distance_m is not None:
            ft, m = f"{blocker.distance_m / FOOT_M:,.0f} ft", f"{blocker.distance_m:,.0f} m"
            far = f", {ft} ({m}) away" if feet else f", {m} ({ft}) away"
        hides += ["; " if hides else "", named(blocker.what or "not named"), f"{far}: {blocker.minutes / 60:.1f} h"]
    if hides:
        lines.append(
            tag("li", f"What hides it, in hours on the {len(chart.days)} days of the chart together: ", hides, ".")
        )
    return lines


def _light(chart: SunChart) -> Light:
    if chart.light is None:
        raise ValueError("the sun chart was made without light")
    return chart.light


def _clock(chart: SunChart) -> str:
    return "solar time" if chart.clock.utc_offset_h is None else chart.clock.words.removesuffix(" all year")


def _percent(share: float) -> str:
    return f"{100 * share:.1f} %"


def light_table(chart: SunChart, transmission: float) -> Element:
    """One row a month and one for the crop months."""
    heads = ("Month", "Sun on the 21st, h", "of", "kWh/m²", "of an open site", "DLI outside", "under cover")
    days = {day.month: day for day in chart.days}
    rows = []
    for k, sums in enumerate([*_light(chart).months, _light(chart).crop_months]):
        day = days.get(k + 1)
        outside = daily_light_integral(sums.mean_daily_mj)
        share = "–" if sums.total_share is None else _percent(sums.total_share)
        name = MONTHS[k].capitalize() if k < 12 else "Crop months"
        hours = ("–", "–") if day is None else (f"{day.clear_h:.1f}", f"{day.possible_h:.1f}")
        cells = (*hours, f"{sums.total_kwh:.0f}", share, f"{outside:.1f}", f"{outside * transmission:.1f}")
        rows.append(tag("tr", tag("th", name, scope="row"), *(tag("td", cell, class_="number") for cell in cells)))
    head = tag(
        "tr", *(tag("th", title, scope="col", class_="number" if k else "words") for k, title in enumerate(heads))
    )
    bands = "; ".join(f"{band.name} {_band(band)} ({sources()[band.source].publication})" for band in CROP_BANDS)
    caption = tag("caption", f"DLI = daily light integral, mol m⁻² d⁻¹. Crops want: {bands}.")
    table = tag("table", caption, tag("thead", head), tag("tbody", *rows))
    return tag("div", table, class_="scroll", tabindex="0", role="region", aria_label="Light by month")


def _band(band: CropBand) -> str:
    if band.least is None:
        return f"up to {band.most:g}"
    return f"{band.least:g} or more" if band.most is None else f"{band.least:g} to {band.most:g}"
