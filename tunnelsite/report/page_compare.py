"""The options side by side: what differs between them, row by row, and what does not."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING
from xml.etree.ElementTree import Element

from tunnelsite.core.wording import capital, inside
from tunnelsite.drawing.markup import named, tag
from tunnelsite.report.card_facts import Facts
from tunnelsite.report.chosen import PageOption
from tunnelsite.report.table_columns import columns_of
from tunnelsite.scan.firmness.drawn_words import LOST, REJECTED
from tunnelsite.scan.firmness.verdict import share_words

if TYPE_CHECKING:
    from tunnelsite.screening.result import Result

NO_ROW = ("rank", "now")  # columns of the ranking that are the heads of this table
MOST_COLUMNS, MOST_ON_PHONE = 6, 3


def compared(result: Result, shown: Sequence[Facts], linked: set[int]) -> Element | None:
    """The table, with a column for each option; None for fewer than two. Arguments: linked, ranks that have a card."""
    if len(shown) < 2:
        return None
    shown = shown[:MOST_COLUMNS]
    differ: list[tuple[str, list[str]]] = []
    same: list[tuple[str, list[str]]] = []
    for column in columns_of(result, client=True):
        if column.key in NO_ROW or (
            column.key == "parcel" and not any(one.option.name for one in shown)
        ):  # in the head
            continue
        cells = [column.words(one) for one in shown]
        title = capital(column.explained)
        (differ if len(set(cells)) > 1 else same).append((title, cells))
    differ += _words_rows(shown)
    head = tag("tr", tag("td", "", role="cell"), *(_head(one, linked) for one in shown), role="row")
    rows = [_row(title, cells) for title, cells in differ]
    caption = tag("caption", "What differs between the options")
    # the roles are those the elements have: a phone lays the rows out otherwise, and then forgets them
    table = tag("table", caption, tag("thead", head, role="rowgroup"), tag("tbody", *rows, role="rowgroup"),
                class_="compare many" if len(shown) > MOST_ON_PHONE else "compare", role="table")  # fmt: skip
    frame = tag("div", table, class_="scroll", tabindex="0", role="region", aria_label="Options side by side")
    alike = tag("p", "The same for all of them: ", _listed(same), ".", class_="soft") if same else None
    return tag("div", frame, alike, class_="compared")


def _row(title: str, cells: Sequence[str]) -> Element:
    head = tag("th", named(title), scope="row", role="rowheader")
    return tag("tr", head, *(tag("td", named(cell, 300), role="cell") for cell in cells), role="row")


def _head(one: Facts, linked: set[int]) -> Element:
    label = tag("span", one.label, class_="rank")
    name = named(one.option.name or one.row["parcel"], 40)
    where = f"#candidate-{one.rank}" if one.rank in linked else None
    content = tag("a", label, " ", name, href=where) if where else tag("span", label, " ", name)
    return tag("th", content, scope="col", role="columnheader")


def _words_rows(shown: Sequence[Facts]) -> list[tuple[str, list[str]]]:
    rows = []
    if any(one.row["score"] - one.firmness.mean >= LOST for one in shown):
        rows.append(("Score on average, heights off by their error", [f"{one.firmness.mean:.1f}" for one in shown]))
    if any(one.firmness.out >= REJECTED for one in shown):
        rows.append(("A limit rejects it where heights are off", [share_words(one.firmness.out) for one in shown]))
    rows.append(("Came first in trials of weights and heights", [share_words(o.firmness.first) for o in shown]))
    if any(one.option.rank != k for k, one in enumerate(shown, 1)):
        rows.append(("Rank in the screening", [str(o.option.rank or "not listed") for o in shown]))
    return [*rows, ("Weakest point", [_weakest(one) for one in shown])]


def _weakest(fact: Facts) -> str:
    """What costs an option most; only what was assessed there counts as nothing against it."""
    clean = "Nothing in what was assessed" if fact.unknown() else "Nothing that counts"
    return next((item.words for item in fact.against()), clean)


def _listed(same: Sequence[tuple[str, list[str]]]) -> list[Element | str]:
    parts: list[Element | str] = []
    for title, cells in same:
        parts += ["; " if parts else "", f"{inside(title)} ", named(cells[0])]
    return parts


def note_part(option: PageOption) -> Element | None:
    """The note on an option, which stands at the top of its card."""
    return (
        tag("section", tag("h4", "Note"), tag("p", named(option.note, 4000)), class_="part note")
        if option.note
        else None
    )


def photos_part(option: PageOption) -> Element | None:
    """The photos of an option."""
    views = [
        tag("figure", tag("img", src=address, alt=f"Photo {k} of option {option.label}"))
        for k, address in enumerate(option.photos, 1)
    ]
    return (
        tag("section", tag("h4", "Photos"), tag("div", *views, class_="photos"), class_="part note") if views else None
    )
