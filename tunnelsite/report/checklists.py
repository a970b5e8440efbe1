"""What no elevation model answers, as pages with boxes to tick: each line with its source, or that it is common practice.

The head of water that is named there: [@head-of-water].
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any
from xml.etree.ElementTree import Element

from tunnelsite.core.sources import source_words
from tunnelsite.drawing.markup import digest, document, plain_name, put, tag
from tunnelsite.report.card_around import around

if TYPE_CHECKING:
    from tunnelsite.report.candidate_study import Study

COMMON = "common practice, no source"
MOST_OPTIONS = 4  # more lines than these are no checklist
INTRODUCTION = (
    "The map cannot answer these. Tick what is settled, write down what is not. They ask; they do not replace local codes or "
    "licensed practice."
)


@dataclass(frozen=True)
class Item:
    """One line: text; source, in words; asks, whether a line is left to write on; known, key of what a run may know of it."""

    text: str
    source: str
    asks: bool
    known: str = ""


@dataclass(frozen=True)
class Checklist:
    """One list: its title and its lines."""

    title: str
    items: tuple[Item, ...]


@cache
def checklists() -> tuple[Checklist, ...]:
    """The lists of the trade, in the order in which a house is planned. Errors: KeyError for a source that is not registered."""
    stored = tomllib.loads((files("tunnelsite.report") / "checklists.toml").read_text("utf-8"))
    return tuple(Checklist(one["title"], tuple(map(_item, one["item"]))) for one in stored["list"])


def _item(stored: dict[str, Any]) -> Item:
    source = source_words(stored["source"]) if "source" in stored else COMMON
    return Item(stored["text"], source, bool(stored.get("asks")), stored.get("known", ""))


Known = Mapping[str, Sequence[str]]


def known_of(studies: Sequence[Study]) -> Known:
    """What is known of the lines, by their key: a sentence for each of the first options studied."""
    known: dict[str, list[str]] = {}
    for study in studies[:MOST_OPTIONS]:
        for one in around(study.row, feet=study.feet):
            known.setdefault(one.key, []).append(f"Option {study.label}: {one.words}.")
    return known


def checklists_page(title: str = "Before you build", known: Known | None = None) -> str:
    """The lists as a page of its own, for screen and paper (A4 or US Letter); it needs no network and runs no script.

    Arguments: title; known, what a run knows of the lines, by `Item.known`, sentences.
    """
    style = (files("tunnelsite.report") / "checklists.css").read_text("utf-8")
    rules = f"default-src 'none'; style-src '{digest(style)}'; base-uri 'none'; form-action 'none'"
    head = tag(
        "head",
        tag("meta", charset="utf-8"),
        tag("meta", http_equiv="Content-Security-Policy", content=rules),
        tag("meta", name="viewport", content="width=device-width, initial-scale=1"),
        tag("title", plain_name(title)),
        tag("style", style),
    )
    cited = list(dict.fromkeys(item.source for one in checklists() for item in one.items if item.source != COMMON))
    lists = [_list(number, one, cited, known or {}) for number, one in enumerate(checklists(), 1)]
    notes = tag(
        "section",
        tag("h2", "Sources", id="sources"),
        tag("ol", *(tag("li", text) for text in cited)),
        aria_labelledby="sources",
    )
    put(notes, tag("p", "Lines without a number: common practice, no source."))
    header = tag("header", tag("h1", tag("bdi", plain_name(title))), tag("p", INTRODUCTION))
    body = tag("body", header, tag("main", *lists, notes))
    return document(tag("html", head, body, lang="en"))


def _list(number: int, one: Checklist, cited: list[str], known: Known) -> Element:
    name = f"list-{number}"
    rows = tag(
        "ul",
        *(_row(f"{name}-{place}", item, cited, known.get(item.known, ())) for place, item in enumerate(one.items, 1)),
    )
    return tag("section", tag("h2", one.title, id=name), rows, aria_labelledby=name)


def _row(name: str, item: Item, cited: list[str], known: Sequence[str]) -> Element:
    box = tag("input", type="checkbox", id=name)
    line = tag("span", class_="line", aria_hidden="true") if item.asks else None
    number = tag("sup", str(cited.index(item.source) + 1)) if item.source in cited else None
    words = tag("label", item.text, number, line, for_=name)
    found = tag("ul", *(tag("li", text) for text in known), class_="known") if known else None
    return tag("li", box, words, found)
