"""The first page of a packet: what to read first, then each place, then the files for other programs."""

from __future__ import annotations

import html
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from tunnelsite.core.cautions import CAUTIONS
from tunnelsite.core.plan_kind import PlanKind
from tunnelsite.report.plain_words import house_words

FIRST, DATA = "first", "data"  # parts of the page; the others are the letters of the places
# What a client opens of each plan; the rest is for other programs.
TO_READ = {
    ("sun_chart", "chart"): "Sun chart",
    ("grade", "map"): "Grading plan: map of cut and fill",
    ("grade", "profiles"): "Grading plan: the ground before and after, along and across",
    ("stake_out", "page"): "Stake sheet to print",
    ("stake_out", "phone"): "Stakes on a phone",
}
STYLE = (
    "body{font:16px/1.5 system-ui,sans-serif;max-width:46rem;margin:2rem auto;padding:0 1rem;color:#1b1f24}"
    "h1{font-size:1.5rem}h2{font-size:1.2rem;margin-bottom:.3rem}li{margin:.3rem 0}span{color:#5b6570}ul{margin-top:.3rem}"
)


@dataclass(frozen=True)
class Written:
    """One thing of the packet: title and file beside the page, or why it could not be made; part of the page that names it."""

    title: str
    file: str = ""
    reason: str = ""
    part: str = FIRST


def of_plan(kind: PlanKind, letter: str, what: str, file: str) -> Written:
    """A file of a plan under its place where it is to be read, else among the data."""
    if (kind.id, what) in TO_READ:
        return Written(TO_READ[kind.id, what], file, part=letter)
    titles = {one.id: one.title for one in kind.gives}
    return Written(f"{letter}, {kind.title.lower()}: {titles.get(what, what.replace('_', ' '))}", file, part=DATA)


def packet_index(farm: str, pins: Sequence[Mapping[str, Any]], pieces: Sequence[Written]) -> str:
    """The page, in plain HTML that any browser opens. Arguments: farm, its name; pins; pieces of the packet."""
    name = html.escape(farm)
    places = "".join(_place(pin, pieces) for pin in pins)
    lacks = "".join(f"<li>{html.escape(one.title)}: {html.escape(one.reason)}</li>" for one in pieces if not one.file)
    missing = f"<h2>Not in it</h2><ul>{lacks}</ul>" if lacks else ""
    cautions = "".join(f"<li>{html.escape(one)}</li>" for one in CAUTIONS)
    return (
        '<!doctype html><html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width">'
        f"<title>{name}: places for a house</title><style>{STYLE}</style></head><body>"
        f"<h1>Places for a house: {name}</h1><p>Made {datetime.now():%d %B %Y, %H:%M}. This is a screening, not a survey.</p>"
        f"<h2>Read first</h2>{_files(pieces, FIRST)}{places}{missing}"
        f"<h2>Before anything is dug</h2><ul>{cautions}</ul>"
        f"<h2>For other programs: tables, layers and the project</h2>{_files(pieces, DATA)}</body></html>\n"
    )


def _files(pieces: Sequence[Written], part: str) -> str:
    shown = [one for one in pieces if one.file and one.part == part]
    links = "".join(f'<li><a href="{html.escape(one.file)}">{html.escape(one.title)}</a></li>' for one in shown)
    return f"<ul>{links}</ul>"


def _place(pin: Mapping[str, Any], pieces: Sequence[Written]) -> str:
    place, letter = pin["place"], pin["letter"]
    where = f"{place['lat']:.6f}, {place['lon']:.6f}; {html.escape(house_words(place['house']))}, ridge {place['bearing_deg']:g}°"
    note = f"<p>{html.escape(pin['note'])}</p>" if pin["note"] else ""
    head = f"<h2>{html.escape(letter)} {html.escape(pin['name'])}</h2>"
    return f"{head}<p><span>{where}</span></p>{note}{_files(pieces, letter)}"
