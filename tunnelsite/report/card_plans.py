"""Earthwork and water of one candidate: pictures, and the plan in words."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from xml.etree.ElementTree import Element

from tunnelsite.core import amounts
from tunnelsite.core.wording import capital
from tunnelsite.drawing.markup import picture, tag
from tunnelsite.drawing.thinned import short_svg
from tunnelsite.plans.grading.key import NARROW, WIDTH
from tunnelsite.plans.grading.map import MapData, grading_map_svg
from tunnelsite.plans.grading.profiles import profiles_svg
from tunnelsite.plans.grading.words import spoil_words, surplus_words
from tunnelsite.report.candidate_study import Study


def earthwork_part(study: Study, feet: bool, client: bool) -> Element:
    """What is dug and filled."""
    title = tag("h4", "Earth to move")
    graded = study.graded
    if graded is None:
        return tag("section", title, tag("p", "No plan: " + study.missing["grading"]), class_="part")
    plan = graded.earth
    lines = [tag("li", text) for text in _earth_words(graded.earth_numbers, feet)]
    map_words = (
        f"Grading map of option {study.label}: depth of cut and fill on the pad and its side slopes, contours before and after. Its "
        "numbers stand in the list."
    )
    title_of, wide = ("", NARROW) if client else (study.title, WIDTH)
    data = MapData(title_of, plan, graded.water, graded.interval_m, (), wide)
    figures = [_figure(short_svg(grading_map_svg(data)), map_words, "Grading map")]
    if not client:
        words = f"Profiles of option {study.label} along and across the ridge: natural and finished ground."
        figures.append(_figure(short_svg(profiles_svg(study.title, plan)), words, "Cut through along and across"))
    # a client is spared the advice, never what lies in the way
    warned = [tag("li", text) for text in (plan.conflicts if client else plan.warnings)]
    warnings = tag("ul", *warned, class_="warned") if warned else None
    return tag(
        "section", title, tag("ul", *lines), tag("div", *figures, class_="figures"), warnings, class_="part earth-part"
    )


def _figure(svg: str, words: str, caption: str) -> Element:
    return tag("figure", picture(svg, words), tag("figcaption", caption))


SHAPED = {
    "smooth": "Smooth the topsoil in place; nothing is stripped.",
    "shape": "Shape the pad within the topsoil; nothing is stripped, half of it is left at least.",
}


def _earth_words(numbers: Mapping[str, Any], feet: bool) -> list[str]:
    sides, soil = numbers["side_slopes"], numbers["topsoil"]
    cut, fill = (amounts.volume(numbers[name], feet=feet) for name in ("cut_m3", "fill_m3"))
    deepest, highest = (amounts.depth(numbers[name], feet=feet) for name in ("max_cut_m", "max_fill_m"))
    along, across = (abs(100 * numbers[f"slope_{way}"]) for way in ("along", "across"))
    widest, disturbed = amounts.away(sides["widest_m"], feet=feet), amounts.land(numbers["disturbed_m2"], feet=feet)
    stripped, thick = amounts.volume(soil["stripped_m3"], feet=feet), amounts.depth(soil["depth_m"], feet=feet)
    words = [
        f"Pad and side slopes: cut {cut}, fill {fill}; deepest cut {deepest}, highest fill {highest}.",
        f"The finished pad slopes {along:.2f} % along and {across:.2f} % across, never more than 3/4 in per 12 ft (0.52 %).",
        f"Side slopes of {sides['cut_run_per_rise']:g}:1 in cut and {sides['fill_run_per_rise']:g}:1 in fill reach up to {widest} "
        f"beyond the pad; {disturbed} are disturbed in all.",
        SHAPED.get(numbers["tier"], f"Strip and keep {stripped} of topsoil ({thick} deep) first."),
    ]
    if abs(numbers["surplus_m3"]) > 1:
        words.append(_sentence(surplus_words(numbers, feet=feet)))
    return words


def water_part(study: Study, feet: bool) -> Element:
    """How water is kept off, in words."""
    title, water = tag("h4", "Water"), None if study.graded is None else study.graded.water_numbers
    if water is None:
        return tag("section", title, tag("p", "Drainage was not planned: " + study.missing["drainage"]), class_="part")
    lines = _water_words(water, feet)
    return tag("section", title, tag("ul", *(tag("li", text) for text in lines)), class_="part")


def _water_words(water: Mapping[str, Any], feet: bool) -> list[str]:
    before, after = (amounts.land(water[f"entering_{when}_m2"], feet=feet) for when in ("before", "after"))
    words = [
        f"As the land lies, the rain off {before} of land uphill runs onto the pad and its side slopes, all runs together."
    ]
    for arm in water["swale"]:
        long, deep = amounts.away(arm["length_m"], feet=feet), amounts.size(arm["deepest_m"], feet=feet)
        drained = ("at least " if arm["drains_at_least"] else "") + amounts.land(arm["drains_m2"], feet=feet)
        end = (
            "comes to daylight"
            if arm["reaches_daylight"]
            else "does NOT come to daylight within reach, so it needs another outlet,"
        )
        where = arm["outlet"]["where"]
        words.append(f"A swale {long} long and up to {deep} deep takes the water of {drained} and {end} {where}.")
    if water["swale"]:
        words.append(f"With it, that of {after} still does.")
    if water["dug_m3"] > 0:
        words.append(_sentence(spoil_words(water, feet=feet)))
    words += water["said"]
    if water["drain_length_m"] > 0:
        words.append(
            f"A drain of {amounts.away(water['drain_length_m'], feet=feet)} off the posts carries the roof's water."
        )
    gains = water["neighbours"]["more_water_at"]
    for one in gains[:3]:
        grown = amounts.more_land(one["after_m2"], one["before_m2"], feet=feet)
        words.append(f"More water leaves the ground round the pad {one['where']}: from {grown}. Ask who lies below.")
    peak = "Peak flows of a storm were not assessed."
    words.append(peak if gains else f"No spot round it gets notably more water than before. {peak}")
    return words


def _sentence(words: str) -> str:
    return capital(words) + "."
