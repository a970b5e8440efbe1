"""The report of a screening as one page: no second file, no request, its one style and script named by their hash."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from importlib.resources import files
from typing import TYPE_CHECKING
from xml.etree.ElementTree import Element

from tunnelsite.core.counting import listed
from tunnelsite.core.ridge_words import ridge_words
from tunnelsite.drawing.farm_map import MapMark, farm_map_svg
from tunnelsite.drawing.markup import digest, document, json_text, plain_name, put, svg_element, tag
from tunnelsite.drawing.outcome_groups import OutcomeGroup, passed_groups, rejected_groups, score_edges, shown_scan
from tunnelsite.report.candidate_study import Study
from tunnelsite.report.card_facts import Facts, all_facts, corners_on_map
from tunnelsite.report.chosen import PageOption
from tunnelsite.report.page_cards import card
from tunnelsite.report.page_compare import compared
from tunnelsite.report.page_opening import Beside, answer, relaxed_section, unknown_section
from tunnelsite.report.page_parts import asks_section, cautions_section, layout_section, map_section, table_section
from tunnelsite.report.page_record import record_sections
from tunnelsite.report.page_weights import page_data, weights_section
from tunnelsite.report.plain_words import house_words
from tunnelsite.report.settings import CLIENT_CARDS
from tunnelsite.scan.outcomes import outcomes
from tunnelsite.settings.model import period_words

if TYPE_CHECKING:
    from tunnelsite.screening.result import Result


@dataclass(frozen=True)
class PageAsk:
    """What is wanted of a page.

    Attributes: title; client, the short version; stamp, when it was made, in words; options, one for each candidate of the result,
    none = by rank; chosen, whether they were chosen by hand; prepared_for, prepared_by; logo, a `data:` address or ""; paper, `A4` or
    `Letter`; layout, a picture of several houses together as SVG text, or "".
    """

    title: str
    client: bool
    stamp: str
    options: Sequence[PageOption] = ()
    chosen: bool = False
    prepared_for: str = ""
    prepared_by: str = ""
    logo: str = ""
    paper: str = "A4"
    layout: str = ""


def report_page(result: Result, studies: Sequence[Study], ask: PageAsk) -> str:
    """The page as an HTML document.

    Arguments: result; studies, of the candidates that get a card, best first; ask.
    """
    facts = all_facts(result, ask.options)
    groups = map_groups(result)
    carded = {study.rank for study in studies}
    listed = [fact for fact in facts if fact.rank in carded or not ask.client]
    marks = [_mark(result, fact, carded) for fact in listed]
    beside = compared(result, [fact for fact in facts if fact.rank in carded], carded)
    body = tag("body", class_="client" if ask.client else "full")
    put(body, tag("a", "Skip to the answer", href="#main", class_="skip"), _header(result, ask))
    main = tag("main", id="main")
    unbuildable = [one.label for one in studies if one.graded is not None and not one.graded.earth.buildable]
    opening = Beside(ask.options, frozenset(carded), beside, ask.chosen, unbuildable)
    put(main, answer(result, listed, opening), unknown_section(result, listed))
    if not ask.chosen:  # few options because few were chosen is no lack of places
        put(main, relaxed_section(result))
    map_svg = svg_element(farm_map_svg(result, groups, marks, small=ask.client))
    put(main, map_section(map_svg, groups, result), layout_section(ask.layout))
    if not (ask.client and beside is not None):
        put(main, table_section(result, facts, carded, ask.client))
    if facts and not ask.client:
        put(main, weights_section(result))
    put(main, _cards(result, facts, studies, ask))
    put(
        main,
        asks_section(result),
        cautions_section(result, ask.client),
        *(() if ask.client else record_sections(result)),
    )
    put(body, main, _footer(ask))
    if facts:
        data = tag("script", json_text(page_data(result, ask.options)), type="application/json", id="report-data")
        put(body, data)
    return document(_page(body, ask))


def map_groups(result: Result) -> list[OutcomeGroup]:
    """The groups of placements that the map shows, of the best candidate's house and bearing."""
    shown, settings = shown_scan(result), result.settings
    scan, scored = result.scans[shown], result.scored[shown]
    found = outcomes(scan, result.judges, (settings.setback_m, settings.clearance_m), settings.pad_pitch)
    titles = {judge.id: judge.criterion.description.title for judge in result.judges}
    return [*passed_groups(found.code, scored, score_edges(scored)), *rejected_groups(found, titles)]


def _mark(result: Result, fact: Facts, carded: set[int]) -> MapMark:
    words = f"Option {fact.label}: {plain_name(fact.row['parcel'], 60)}, score {fact.row['score']:.1f}"
    target = f"candidate-{fact.rank}" if fact.rank in carded else f"row-{fact.rank}"
    return MapMark(fact.rank, fact.label, words, corners_on_map(result, fact.rank), target)


def _page(body: Element, ask: PageAsk) -> Element:
    style, script = (files("tunnelsite.report").joinpath(name).read_text("utf-8") for name in ("page.css", "page.js"))
    style += paper_style(ask)
    put(body, tag("script", script))
    head = tag(
        "head",
        tag("meta", charset="utf-8"),
        tag("meta", http_equiv="Content-Security-Policy", content=policy(style, script)),
        tag("meta", name="viewport", content="width=device-width, initial-scale=1"),
        tag("meta", name="referrer", content="no-referrer"),
        tag("meta", name="robots", content="noindex"),
        tag("title", plain_name(ask.title)),
        tag("style", style),
    )
    return tag("html", head, body, lang="en")


def paper_style(ask: PageAsk) -> str:
    """The rule of the printed page: its size, and in its margins the title, who it is for, and page numbers (CSS Paged Media 3, 5)."""
    title = " · ".join(filter(None, (plain_name(ask.title, 70), ask.prepared_for and plain_name(ask.prepared_for, 50))))
    return (
        f"@page {{ size: {ask.paper}; @top-left {{ content: {_css_text(title)}; }} @top-right {{ content: {_css_text(ask.stamp)}; }} "
        '@bottom-left { content: "A screening, not a survey. Local codes rule."; } '
        '@bottom-right { content: "Page " counter(page) " of " counter(pages); } }\n'
    )


def _css_text(text: str) -> str:
    """A text as a CSS string: whatever is no letter, digit or blank is escaped (CSS Syntax 3, 4.3.7)."""
    return '"' + "".join(c if c.isascii() and (c.isalnum() or c == " ") else f"\\{ord(c):x} " for c in text) + '"'


def policy(style: str, script: str) -> str:
    """A Content-Security-Policy (W3C, level 3) under which this one style and this one script are all there is."""
    return (
        f"default-src 'none'; style-src '{digest(style)}'; script-src '{digest(script)}'; img-src data:; "
        "base-uri 'none'; form-action 'none'; require-trusted-types-for 'script'; trusted-types 'none'"
    )


def _header(result: Result, ask: PageAsk) -> Element:
    settings = result.settings
    houses = ", ".join(dict.fromkeys(house_words(scan.house.name) for scan in result.scans))
    facts = (
        ("Prepared for", ask.prepared_for),
        ("Prepared by", ask.prepared_by),
        ("House", f"{houses}, {settings.kind}"),
        ("Ridge", ", ".join(dict.fromkeys(map(ridge_words, settings.bearings)))),
        ("Crop months", period_words(settings.crop_months)),
        ("Date", ask.stamp),
    )
    shown = [tag("div", tag("dt", name), tag("dd", plain_name(value))) for name, value in facts if value]
    kind = "Summary of a site screening" if ask.client else "Site screening report"
    logo = tag("img", src=ask.logo, alt="Logo", class_="logo") if ask.logo else None
    heading = tag("h1", tag("bdi", plain_name(ask.title)))
    return tag("header", logo, tag("p", kind, class_="kind"), heading, tag("dl", *shown))


def _cards(result: Result, facts: list[Facts], studies: Sequence[Study], ask: PageAsk) -> Element | None:
    if not studies:
        return None
    parts = [card(facts[study.rank - 1], study, result, client=ask.client) for study in studies]
    tools = tag("p", tag("button", "Open all cards", type="button", id="open-all"), class_="tools script-only")
    words = f"The best {len(studies)} of {len(facts)} options." if len(studies) < len(facts) else ""
    on_paper = None
    if not (ask.client or ask.chosen) and len(parts) > CLIENT_CARDS:  # a client compares a few
        for left_out in parts[CLIENT_CARDS:]:
            left_out.set("class", "card aside")
        first = listed([facts[study.rank - 1].label for study in studies[:CLIENT_CARDS]])
        words += f" Printing gives the cards of options {first} and of those that are open."
        on_paper = tag("p", f"Here are the cards of options {first}, and of those that were open on the screen. The page has them all.",
                       class_="paper-only")  # fmt: skip
    return tag(
        "section", tag("h2", "The options one by one", id="cards-title"), tag("p", words.strip()) if words else None, tools, on_paper,
        *parts, id="cards", aria_labelledby="cards-title",
    )  # fmt: skip


def _footer(ask: PageAsk) -> Element:
    from tunnelsite import __version__

    words = (
        f"Made with tunnelsite {__version__}. One file: it needs no network and sends nothing. A screening is not a survey and "
        "certifies nothing. Local codes rule."
    )
    return tag("footer", tag("p", words))
