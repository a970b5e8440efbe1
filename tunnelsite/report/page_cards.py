"""The card of one candidate: what speaks for and against it, sun, earthwork, water, distances, and how sure it all is."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any
from xml.etree.ElementTree import Element

from tunnelsite.core import amounts
from tunnelsite.core.house import House
from tunnelsite.core.reproject import wgs84_doubt
from tunnelsite.core.ridge_words import ridge_words
from tunnelsite.core.units import FOOT_M
from tunnelsite.core.wording import inside
from tunnelsite.drawing.markup import Content, named, put, tag
from tunnelsite.report.candidate_study import Study
from tunnelsite.report.card_around import around
from tunnelsite.report.card_cost import cost_part
from tunnelsite.report.card_facts import Facts, Judged
from tunnelsite.report.card_plans import earthwork_part, water_part
from tunnelsite.report.card_sun import sun_part
from tunnelsite.report.page_compare import note_part, photos_part
from tunnelsite.report.plain_words import plain_flags
from tunnelsite.scan.firmness.drawn_words import drawn_words
from tunnelsite.scan.firmness.verdict import share_words
from tunnelsite.scan.steady import FARTHEST_M

if TYPE_CHECKING:
    from tunnelsite.screening.result import Result

MOST_REASONS = 6  # for or against, in the short version fewer


def card(fact: Facts, study: Study, result: Result, *, client: bool) -> Element:
    """The card as an article that opens and closes."""
    row = fact.row
    title = tag("h3", tag("span", fact.label, class_="rank"), " ", named(fact.option.name or row["parcel"]), " ")
    if fact.option.name:
        put(title, tag("span", "in ", named(row["parcel"]), " ", class_="score"))
    words = f"{row['score']:.1f} points, {row['assessed_pct']:.0f} % of the weight assessed"
    put(title, tag("span", words, tag("span", class_="score-now"), class_="score"))
    summary = tag("summary", title, tag("p", _verdict(fact), class_="verdict"))
    body = tag("div", class_="card-body")
    put(body, note_part(fact.option), _reasons(fact, client), _place_part(fact, result, client))
    sun, earth = sun_part(study, fact.feet, client), earthwork_part(study, fact.feet, client)
    water = water_part(study, fact.feet)
    stacks = (
        (tag("div", sun, water, class_="stack"), tag("div", earth, class_="stack")) if client else (sun, earth, water)
    )
    put(
        body,
        *stacks,
        *_beside(cost_part(study, client), _around(fact, client), client),
        _distances(fact, client, result),
        _sure(fact, study, result),
        photos_part(fact.option),
    )
    if not client:
        put(body, _marks(fact))
    details = tag("details", summary, body, open=fact.rank == 1)
    return tag("article", details, id=f"candidate-{fact.rank}", class_="card", data_rank=fact.rank)


def part(title: str, *content: Content, class_: str = "") -> Element:
    """A part of a card under its heading."""
    return tag("section", tag("h4", title), *content, class_=f"part {class_}".strip())


def _verdict(fact: Facts) -> str:
    good, against = fact.good(), fact.against()
    words = good[0].words if good else "Nothing speaks strongly for it"
    return words + (f". But: {inside(against[0].words)}." if against else ".")


def _place_part(fact: Facts, result: Result, client: bool) -> Element:
    row, scan = fact.row, result.scans[result.choices[fact.rank - 1].scan]
    lat = f"{abs(row['lat']):.6f}° {'S' if row['lat'] < 0 else 'N'}"
    lon = f"{abs(row['lon']):.6f}° {'W' if row['lon'] < 0 else 'E'}"
    feet, doubt = fact.feet, wgs84_doubt(scan.frame.grid)
    house = f"{amounts.size(row['width_m'], feet=feet)} by {amounts.size(row['length_m'], feet=feet)}"
    ground = (
        f"{row['ground_m'] / FOOT_M:,.1f} ft ({row['ground_m']:,.2f} m)"
        if feet
        else f"{row['ground_m']:,.2f} m ({row['ground_m'] / FOOT_M:,.1f} ft)"
    )
    items = [
        ("Middle of the house", f"{lat}, {lon} ({doubt or 'WGS 84'})"),
        ("House", house),
        ("Ridge", ridge_words(row["bearing_deg"])),
        ("Ground", f"{ground} in the elevation model's own datum"),
        ("Slope along, across", _slopes(fact, scan.house)),
        ("Room to shift", _room_words(fact, result.settings.shift_m)),
        ("Points", _points_words(row, result.settings.shift_m, feet)),
    ]
    if client:  # the head of the page says what they share, that of the card the points
        items = [item for item in items if item[0] not in ("House", "Ground", "Points", *_shared(result))]
    drawn = drawn_words(result, result.rank_shares, fact.rank)
    if drawn:
        items.append(("If heights are off", drawn))
    if row["flags"]:
        items.append(("Do not miss", plain_flags(row["flags"])))
    shown = [tag("div", tag("dt", name), tag("dd", named(value, 2000))) for name, value in items]
    return part("The place", tag("dl", *shown, class_="facts"))


def _shared(result: Result) -> tuple[str, ...]:
    """What all options have in common, which stands in the head of the page."""
    return ("Ridge",) if len(result.settings.bearings) == 1 else ()


def _slopes(fact: Facts, house: House) -> str:
    row, feet = fact.row, fact.feet
    along, across = row["pitch_along_pct"], row["pitch_across_pct"]
    if along is None:
        return "not known: the elevation model's cells are too wide to show it"
    falls = [amounts.drop(slope, run, feet=feet) for slope, run in ((along, house.length_m), (across, house.width_m))]
    return f"{amounts.slope(along)}, {amounts.slope(across)}: {falls[0]} over the length, {falls[1]} over the width"


def _room_words(fact: Facts, shift_m: float) -> str:
    room_m = fact.row["room_m"]
    far = amounts.away(room_m, feet=fact.feet) + (" or more" if room_m >= FARTHEST_M else "")
    return f"{far} any way with nearly its points" + (": stake it with care" if room_m < shift_m else "")


def _points_words(row: Mapping[str, Any], shift_m: float, feet: bool) -> str:
    """The steady score beside those at the exact place and at the worst one within the shift."""
    if shift_m <= 0:
        return f"{row['score']:.1f} of 100 at this very place"
    within = amounts.away(shift_m, feet=feet)
    low = (
        f"{row['score_lowest']:.1f} at the worst spot" if row["score_lowest"] > 0 else "at some spot a limit rejects it"
    )
    return f"{row['score']:.1f} of 100, mean of all spots within {within}; {row['score_here']:.1f} at this very place, {low}"


def _reasons(fact: Facts, client: bool) -> Element:
    most = 3 if client else MOST_REASONS
    good, against, unknown = fact.good()[:most], fact.against()[:most], fact.unknown()
    section = tag("section", class_="part reasons")
    put(section, _list("What is good about it", good, "for"), _list("What is not", against, "against"))
    if unknown:
        put(section, _list("Not known", unknown, "unknown"))
    return section


def _list(title: str, items: list[Judged], kind: str) -> Element:
    lines = [tag("li", item.words, _points(item, kind)) for item in items] or [tag("li", "Nothing that counts here.")]
    return tag("div", tag("h4", title), tag("ul", *lines), class_=kind)


def _points(item: Judged, kind: str) -> Element | None:
    if item.points is None or item.lost is None:
        return None
    words = f"+{item.points:.1f}" if kind == "for" else f"−{item.lost:.1f}"
    return tag("span", " ", tag("b", words), " points", class_="points") if kind != "unknown" else None


def _distances(fact: Facts, client: bool, result: Result) -> Element | None:
    known = (*result.site.services, "edge of the parcel", "nearest structure")
    found = [(name, away) for name, away in fact.distances if not client or name in known]
    lines = [tag("div", tag("dt", named(name)), tag("dd", amounts.away(away, feet=fact.feet))) for name, away in found]
    note = tag("p", "Straight lines from the edge of the house, not the way of a trench or a road.", class_="soft")
    return part(
        "How far things are", tag("dl", *lines, class_="facts narrow"), note, class_="screen-only" if client else ""
    )


def _beside(costs: Element | None, around_it: Element | None, client: bool) -> list[Element | None]:
    """Costs and surroundings: side by side on the client's paper, which has one page an option."""
    if not client or costs is None or around_it is None:
        return [costs, around_it]
    return [tag("div", costs, class_="stack"), tag("div", around_it, class_="stack")]


def _around(fact: Facts, client: bool) -> Element | None:
    found = around(fact.row, feet=fact.feet, short=client)
    lines = [tag("div", tag("dt", one.title), tag("dd", one.words + ".")) for one in found]
    note = tag(
        "p",
        "Free ground: inside the parcel, clear of what stands. How it slopes was not looked at.",
        class_="soft screen-only",
    )
    title = "Water, way in, next house, snow"
    return part(title, tag("dl", *lines, class_="facts"), note, class_="around") if lines else None


def _sure(fact: Facts, study: Study, result: Result) -> Element:
    row, firm, feet = fact.row, fact.firmness, fact.feet
    house = result.scans[result.choices[fact.rank - 1].scan].house
    lines = ["How far the slope may be off is not known here."]
    if row["pitch_se_pct"] is not None:
        slopes = abs(row["pitch_along_pct"]), abs(row["pitch_across_pct"])
        steep, run = max(slopes), house.length_m if slopes[0] >= slopes[1] else house.width_m
        lines = [
            f"Slope {steep:.2f} % ± {row['pitch_se_pct']:.2f} % ({amounts.drop(row['pitch_se_pct'], run, feet=feet)} over that side): "
            f"heights may be off by {firm.error}, and cells hide ground.",
            f"Chance that it is as level as a finished pad already, 3/4 in per 12 ft (0.52 %) both ways: {share_words(firm.chance)}.",
        ]
    lines.append(
        f"In trials with other weights, and other heights within their error, it is first in {share_words(firm.first)} and among the "
        f"first three in {share_words(firm.top_3)}"
        + (f"; a limit rejects it in {share_words(firm.out)}." if firm.out > 0 else ".")
    )
    if study.graded is not None:
        span = study.graded.earth_numbers["uncertainty"]["cut_m3"]
        low, high = (amounts.volume(span[name], feet=feet) for name in ("low", "high"))
        lines.append(
            f"Earth to cut, with side slopes: between {low} and {high}, nine times in ten, by the same errors."
        )
    return part(
        "How sure this is",
        tag("ul", *(tag("li", text) for text in lines)),
        tag("p", "Confirm it with a level on the spot.", class_="screen-only"),
        class_="sure",
    )


def _marks(fact: Facts) -> Element:
    """Marks as a table with bars; the bars only repeat the numbers."""
    heads = (
        ("Criterion", "words"),
        ("Marks of 100", "number"),
        ("", "bar"),
        ("Weight", "number"),
        ("Points lost", "number"),
    )
    rows = []
    for item in sorted(fact.judged, key=lambda item: -(item.lost or 0.0)):
        if item.weight <= 0:
            continue
        marks = "–" if item.marks is None else f"{100 * item.marks:.0f}"
        lost = "–" if item.lost is None else f"{item.lost:.1f}"
        cells = (named(item.title), marks, _bar(item.marks), f"{item.weight:g}", lost)
        kinds = (kind for _, kind in heads)
        rows.append(tag("tr", *(tag("td", cell, class_=kind) for cell, kind in zip(cells, kinds, strict=True))))
    head = tag("tr", *(tag("th", title, scope="col", class_=kind) if title else tag("td") for title, kind in heads))
    table = tag("table", tag("thead", head), tag("tbody", *rows), class_="marks-table")
    return tag(
        "section", tag("details", tag("summary", tag("h4", "Marks, criterion by criterion")), table), class_="part"
    )


def _bar(marks: float | None) -> Element | None:
    if marks is None:
        return None
    bar = tag("svg", viewBox="0 0 100 10", width="100", height="10", aria_hidden="true", class_="bar")
    put(
        bar,
        tag("rect", width="100", height="10", fill="#e3e7e9"),
        tag("rect", width=f"{100 * marks:.1f}", height="10", fill="#1f5673"),
    )
    return bar
