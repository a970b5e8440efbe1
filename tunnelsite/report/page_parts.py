"""Parts of a report page that speak of the farm as a whole: the map with its key, the table, what to ask."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING
from xml.etree.ElementTree import Element

from tunnelsite.core import amounts
from tunnelsite.core.cautions import CAUTIONS
from tunnelsite.core.ridge_words import ridge_words
from tunnelsite.drawing.farm_map import framed_parcels
from tunnelsite.drawing.framing import outside_words
from tunnelsite.drawing.hatches import HATCHES
from tunnelsite.drawing.land_features import land_key, swatch
from tunnelsite.drawing.markup import Content, named, picture, plain_name, put, tag
from tunnelsite.drawing.outcome_groups import OutcomeGroup, shown_scan
from tunnelsite.report.card_facts import Facts
from tunnelsite.report.plain_words import file_words, house_words
from tunnelsite.report.questions import FIELD, asks
from tunnelsite.report.table_columns import RankingColumn, columns_of
from tunnelsite.scan.firmness.ties import undecided

if TYPE_CHECKING:
    from tunnelsite.screening.result import Result

FIRST_CAUTIONS = 6  # of CAUTIONS: those about life, law and money


def map_section(svg: Element, groups: Sequence[OutcomeGroup], result: Result) -> Element:
    """The map and its key."""
    section = tag("section", tag("h2", "Map", id="map-title"), class_="map", aria_labelledby="map-title")
    passed = [group for group in groups if group.pattern not in HATCHES]
    rejected = [group for group in groups if group.pattern in HATCHES]
    keys = tag("div", tag("p", _map_words(result), class_="soft"), class_="keys")
    if passed:
        items = [tag("li", _swatch(group), f"{group.title} ", _count(group)) for group in reversed(passed)]
        put(keys, tag("div", tag("h3", "Passed, by score"), tag("ul", *items, class_="key")))
    if rejected:
        put(
            keys,
            tag(
                "div", tag("h3", "Rejected, by the first rule broken"), tag("ul", *map(_reason, rejected), class_="key")
            ),
        )
    items = [tag("li", sample, words) for sample, words in land_key(result.scans[shown_scan(result)].frame)]
    put(keys, tag("div", tag("h3", "On the land"), tag("ul", *items, class_="key")))
    tools = [
        tag("button", words, type="button", data_map=deed, aria_label=spoken)
        for deed, words, spoken in (
            ("in", "+", "Zoom in"),
            ("out", "−", "Zoom out"),
            ("full", "Full screen", "Map on the full screen"),
        )
    ]
    figure = tag("figure", svg, tag("div", *tools, class_="map-tools script-only screen-only"))
    note = "Your weights: the three best options are outlined; the colours are for the weights of the screening."
    put(keys, tag("p", note, id="colours-now", class_="soft", hidden=True))
    put(section, tag("div", figure, keys, class_="map-and-key"))
    return section


def layout_section(svg: str) -> Element | None:
    """Several houses together, as `layout` drew them; None without a picture."""
    if not svg:
        return None
    words = "Several houses together with their pads and the trenches to the services; dashed: pads. Each house is one option of that plan."
    shown = tag("figure", picture(svg, "Plan of several houses together, true north up."), tag("figcaption", words))
    title = tag("h2", "Several houses together", id="layout-title")
    return tag("section", title, shown, class_="layout", aria_labelledby="layout-title")


def _map_words(result: Result) -> str:
    several = len(result.scans) > 1
    scan = result.scans[shown_scan(result)]
    best = ", as option 1" if result.choices else ""
    which = (
        f"Colours are for a {house_words(scan.house.name)} house, ridge {ridge_words(scan.frame.grid.bearing_deg)}{best}."
        if several
        else ""
    )
    names = [
        plain_name(name, 40)
        for name, here in zip(scan.frame.parcel_names, framed_parcels(scan.frame), strict=True)
        if not here
    ]
    return " ".join(
        part
        for part in (
            "Each spot is coloured for a house with its middle there. True north is up; relief lit from the north-west.",
            which,
            outside_words(names),
        )
        if part
    )


def _swatch(group: OutcomeGroup) -> Element:
    hatched = group.pattern in HATCHES
    fill = f"url(#hatch-{group.pattern})" if hatched else group.pattern
    return swatch(tag("rect", width="34", height="18", fill=fill, stroke="#4b5866"))


def _count(group: OutcomeGroup) -> Element:
    return tag("span", f"{sum(number for _, number in group.counts):,}", class_="count")


def _reason(group: OutcomeGroup) -> Element:
    label = tag("label", tag("input", type="checkbox", checked=True, data_group=group.key, class_="script-only"))
    put(label, _swatch(group), f"{group.title} ", _count(group))
    several = len(group.counts) > 1 or group.key in ("keep", "other")
    parts: list[Content] = []
    for words, number in group.counts:
        parts += ["; " if parts else "", named(file_words(words)), f" {number:,}"]
    return tag("li", label, tag("span", *parts, class_="parts") if several else None)


def table_section(result: Result, facts: Sequence[Facts], carded: set[int], client: bool) -> Element:
    """The ranking as a table that sorts."""
    section = tag("section", tag("h2", "Ranking", id="ranking"), class_="ranking", aria_labelledby="ranking")
    if not facts:
        put(section, tag("p", "There is no option to rank."))
        return section
    columns = columns_of(result, client=client)
    head = tag("tr")
    for k, column in enumerate(columns):
        button = tag("button", column.heading, type="button", data_column=k, title=column.explained)
        sort = "ascending" if k == 0 else "none"
        put(head, tag("th", button, scope="col", aria_sort=sort, class_=_cell_class(column), data_key=column.key))
    put(section, *(tag("p", text) for text in undecided(result)))
    rows = [_table_row(fact, columns, carded) for fact in facts]
    how = tag("span", " Choose a heading to sort by it.", class_="script-only screen-only")
    caption = tag("caption", "Options, best first.", how)
    table = tag("table", caption, tag("thead", head), tag("tbody", *rows), id="ranking-table")
    put(
        section,
        tag(
            "div",
            table,
            class_="scroll",
            tabindex="0",
            role="region",
            aria_label="Table of options, scrolls sideways",
        ),
    )
    return section


def _table_row(fact: Facts, columns: Sequence[RankingColumn], carded: set[int]) -> Element:
    line = tag("tr", id=f"row-{fact.rank}", data_rank=fact.rank)
    for k, column in enumerate(columns):
        value, shown = column.cell(fact)
        inner = tag("a", shown, href=f"#candidate-{fact.rank}") if k == 0 and fact.rank in carded else None
        content = inner if inner is not None else named(shown) if column.kind == "words" else shown
        put(
            line,
            tag(
                "th" if k == 0 else "td",
                content,
                scope="row" if k == 0 else None,
                class_=_cell_class(column),
                data_value=value,
            ),
        )
    return line


def _cell_class(column: RankingColumn) -> str:
    return f"{column.kind} now" if column.key == "now" else column.kind


def asks_section(result: Result) -> Element:
    """What to ask whom, to tick off."""
    title = tag("h2", "What to ask, and what to see for yourself", id="ask-title")
    section = tag("section", title, aria_labelledby="ask-title", class_="to-ask")
    groups = [
        tag("div", tag("h3", ask.who), tag("ul", *(tag("li", text) for text in ask.questions))) for ask in asks(result)
    ]
    groups.append(tag("div", tag("h3", "On the spot"), tag("ul", *(tag("li", text) for text in FIELD))))
    put(section, tag("div", *groups, class_="asks"))
    return section


def cautions_section(result: Result, client: bool) -> Element:
    """The usual cautions."""
    chosen = CAUTIONS[:FIRST_CAUTIONS] if client else CAUTIONS
    section = tag("section", tag("h2", "Cautions", id="care-title"), aria_labelledby="care-title")
    put(section, tag("ul", *(tag("li", text) for text in chosen), class_="cautions"))
    feet = result.scans[0].house.feet
    apron = amounts.size(result.settings.apron_m, feet=feet)
    put(section, tag("p", f"The pad is the house and a level apron of {apron} all round it.", class_="soft"))
    return section
