"""The words of a sun chart: subtitle, description for screen readers, one line for each thing that hides the sun."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from tunnelsite.core import amounts
from tunnelsite.core.units import FOOT_M, MONTHS
from tunnelsite.core.wording import place_words
from tunnelsite.plans.sunchart.blockers import Blocker
from tunnelsite.plans.sunchart.chart import Clock, SunChart, clock_words
from tunnelsite.plans.sunchart.ridge_advice import season_words
from tunnelsite.settings.model import period_words
from tunnelsite.sun.position import day_of_year, solar_noon_s

CAVEAT = (
    "Sun clear or hidden: the centre of the disc, clear sky. Trees count as opaque at today's height; bare trees still "
    "take 30 to 40 % of the light and more (Heisler 1985, 1986). Check with a clinometer on the spot."
)


LEAST_LOST_MIN = 5.0  # less is not worth a word
MOST_SPANS = 3  # of a day that stand one by one


def position_words(lat_deg: float, lon_deg: float) -> str:
    """As `43.00749 N, 78.14972 W`."""
    return f"{abs(lat_deg):.5f} {'S' if lat_deg < 0 else 'N'}, {abs(lon_deg):.5f} {'W' if lon_deg < 0 else 'E'}"


def crop_words(chart: SunChart) -> str:
    """As `1 Oct to 30 Apr`."""
    (month, day), (last_month, last_day) = chart.crop_days
    return f"{day} {MONTHS[month - 1].capitalize()} to {last_day} {MONTHS[last_month - 1].capitalize()}"


def subtitle(chart: SunChart) -> list[str]:
    """The lines below the title."""
    where = f"{position_words(chart.place.lat_deg, chart.place.lon_deg)} · {_height(chart.place.altitude_m, chart.feet)} in the DEM's datum"
    eye = amounts.depth(chart.eye_m, feet=chart.feet)
    first = f"{where} · seen from {eye} above the ground"
    crop, time = f"Crop months {crop_words(chart)}", _time_words(chart)
    if chart.light is None:
        return [first, f"{crop} · {time}"]
    sums = chart.light.crop_months
    share = sums.reason if sums.total_share is None else f"{sums.total_share:.1%} of the light of an open site"
    beam = "" if sums.beam_share is None else f" ({sums.beam_share:.1%} of the beam)"
    sky = f"Sky view {chart.light.sky_view:.2f} (cosine-weighted, level plane) · sky: {chart.light.sky}"
    return [first, f"{crop}: {share}{beam} · {time}", sky]


def _height(value_m: float, feet: bool) -> str:
    own, other = f"{value_m:.0f} m", f"{value_m / FOOT_M:,.0f} ft"
    return f"{other} ({own})" if feet else f"{own} ({other})"


def _time_words(chart: SunChart) -> str:
    """How times are given; of solar time what a clock shows at noon on the shortest of the days, so that times can be read on it."""
    if chart.clock.utc_offset_h is not None or not chart.days:
        return chart.clock.words
    day, place = min(chart.days, key=lambda one: one.possible_h), chart.sun_place
    zone = Clock(float(round(place.lon_deg / 15.0)))
    number = day_of_year(day.month, day.day)
    noon = float(zone.minutes(solar_noon_s(number, place), number, place)[0])
    return f"solar time (12 h on {day.name} is {clock_words(noon)} on a clock of {zone.words.split()[2]})"


def lost_words(chart: SunChart) -> str:
    """What the day of the crop months that loses most of its sun loses, as `loses 2.7 of 8.8 h on 21 Dec, after 14:20`; empty where
    none of the chart's days loses LEAST_LOST_MIN."""
    days = [day for day in chart.days if chart.in_crop(day.month, day.day)]
    day = max(days, key=lambda one: one.possible_h - one.clear_h, default=None)
    if day is None or 60 * (day.possible_h - day.clear_h) < LEAST_LOST_MIN:
        return ""
    text = f"loses {day.possible_h - day.clear_h:.1f} of {day.possible_h:.1f} h on {day.name}"
    seen = day.minutes[day.clear]
    if not len(seen):
        return text
    when = []
    if seen[0] - day.minutes[0] >= LEAST_LOST_MIN:
        when.append(f"before {clock_words(seen[0])}")
    when += _between(seen)
    if day.minutes[-1] - seen[-1] >= LEAST_LOST_MIN:
        when.append(f"after {clock_words(seen[-1])}")
    if not when:
        return text
    return f"{text}, {' and '.join(filter(None, [', '.join(when[:-1]), when[-1]]))}"


def _between(seen: np.ndarray) -> list[str]:
    """When the sun is hidden between minutes that see it, in words; `seen`, those minutes [min]."""
    gaps = np.flatnonzero(np.diff(seen) > LEAST_LOST_MIN)
    spans = [f"{clock_words(seen[k] + 1)} to {clock_words(seen[k + 1])}" for k in gaps]
    if len(spans) <= MOST_SPANS:
        return spans
    return [f"at times from {clock_words(seen[gaps[0]] + 1)} to {clock_words(seen[gaps[-1] + 1])}"]


def blocker_words(blocker: Blocker, *, feet: bool) -> tuple[str, str, str, str]:
    """(what, where, how far and tall, how high) of one thing that hides the sun."""
    span = (
        f"{blocker.from_deg:.0f}°"
        if blocker.from_deg == blocker.to_deg
        else f"{blocker.from_deg:.0f}° to {blocker.to_deg:.0f}°"
    )
    far = "distance not known" if blocker.distance_m is None else f"{amounts.away(blocker.distance_m, feet=feet)} away"
    tall = f"{amounts.away(blocker.standing_m, feet=feet)} tall" if blocker.standing_m else ""
    return (
        blocker.what or "not named",
        span,
        ", ".join(filter(None, [far, tall])),
        f"{blocker.top_deg:.1f}° at {blocker.top_azimuth_deg:.0f}°",
    )


def stretch_words(chart: SunChart, number: int) -> str:
    """When one thing hides the sun: the longest stretch and how many days it shows on."""
    own = [stretch for stretch in chart.stretches if stretch.blocker == number]
    if not own:
        return ""
    longest = max(own, key=lambda stretch: stretch.end_min - stretch.start_min)
    days = len({(stretch.month, stretch.day) for stretch in own})
    when = f"{longest.day} {MONTHS[longest.month - 1].capitalize()} {clock_words(longest.start_min)}-{clock_words(longest.end_min)}"
    return f"longest {when}; on {days} of {len(chart.days)} days"


def description(chart: SunChart) -> str:
    """What the picture shows, for people who cannot see it."""
    parts = [
        "Sky chart by azimuth (across) and elevation (up) with the horizon and the sun's path, and below it one bar a "
        "day from sunrise to sunset with the hours in which the sun is hidden.",
        *subtitle(chart),
    ]
    parts += [f"In the crop months it {lost_words(chart)}."] if lost_words(chart) else []
    parts += [f"{day.name}: {day.clear_h:.1f} of {day.possible_h:.1f} hours of sun clear." for day in chart.days]
    for blocker in chart.blockers:
        what, where, far, high = blocker_words(blocker, feet=chart.feet)
        parts.append(f"{blocker.number}: {what}, {where}, {far}, top {high}; {stretch_words(chart, blocker.number)}.")
    return " ".join([*parts, *chart.notes])


def summary_lines(summary: Mapping[str, Any]) -> list[str]:
    """The summary of a sun chart in words, a line each."""
    share = summary["crop_total_share"]
    lines = [f"{summary['title']} ({place_words(summary['lon'], summary['lat'])})"]
    light = "not assessed" if share is None else f"{100 * share:.1f} % of an open site's"
    lines.append(f"light of the crop months ({period_words(summary['crop_months'])}): {light}")
    lines += [f"with crops in it, it {summary['loses']}"] if summary["loses"] else []
    for day in summary["days"]:
        name = f"{day['day']:>2} {MONTHS[day['month'] - 1].capitalize()}"
        lines.append(f"  {name}: {day['clear_h']:5.2f} of {day['possible_h']:5.2f} h of sun clear")
    lines += season_words(summary["ridge_bearing"])
    for item in summary["field_differences"]:
        lines.append(
            f"field horizon at {item['azimuth_deg']:.0f} deg: measured {item['measured_deg']:.1f}, computed {item['computed_deg']:.1f}"
        )
    lines += [f"note: {text}" for text in summary["notes"]]
    return lines + [f"written: {path}" for path in summary.get("outputs", {}).values()]
