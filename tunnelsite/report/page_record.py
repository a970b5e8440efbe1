"""The record at the end of the full report: how marks are given, why placements fell, and what the run was made of."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any
from xml.etree.ElementTree import Element

import numpy as np

from tunnelsite.core.counting import listed
from tunnelsite.core.sources import keys_of, source_words
from tunnelsite.core.wording import capital
from tunnelsite.drawing.markup import Content, named, put, tag
from tunnelsite.report.plain_words import file_words
from tunnelsite.report.settings_shown import shown_settings
from tunnelsite.scan.combine import dominance
from tunnelsite.scan.firmness.other_weights import candidate_marks
from tunnelsite.screening.rejection_words import MeasureStyle, measure_styles, rule_words

if TYPE_CHECKING:
    from tunnelsite.screening.result import Result

PROSE_LETTERS = 2000  # of a sentence that a name from data may stand in
MOST_REASONS = 400  # rows; the rest stands in the GeoPackage


def record_sections(result: Result) -> list[Element]:
    """How marks are given; rejections; inputs, settings and notes."""
    return [_criteria(result), _rejections(result), _run(result)]


def _section(title: str, key: str, *content: Content) -> Element:
    return tag("section", tag("h2", title, id=key), *content, aria_labelledby=key, class_="record")


def _table(caption: str, heads: list[tuple[str, str]], rows: list[list[Any]]) -> Element:
    head = tag("tr", *(tag("th", title, scope="col", class_=kind) for title, kind in heads))
    body = []
    for row in rows:
        cells = [
            tag("td", named(value, PROSE_LETTERS) if kind == "words" and value != "" else str(value), class_=kind)
            for value, (_, kind) in zip(row, heads, strict=True)
        ]
        body.append(tag("tr", *cells))
    table = tag("table", tag("caption", caption), tag("thead", head), tag("tbody", *body), class_="wide")
    return tag("div", table, class_="scroll", tabindex="0", role="region", aria_label=caption)


def _figure(value: float | None) -> str:
    return "–" if value is None else f"{value:,.4f}".rstrip("0").rstrip(".")


def _three(value: float) -> str:
    """Three figures, never as a power of ten."""
    return f"{float(f'{value:.3g}'):,g}" if abs(value) < 1e6 else f"{value:,.0f}"


def _criteria(result: Result) -> Element:
    styles = measure_styles(result)
    cited: list[str] = []
    rows = [
        [
            row["title"], *(styles[judge.id].value(row[name]) or "–" for name in ("full_at", "none_at", "limit_value")),
            _figure(row["weight"]), f"{row['assessed']:,}", _numbers(judge.rubric.source, cited),
        ]
        for row, judge in zip(result.tables["criteria"].rows, result.judges, strict=True)
    ]  # fmt: skip
    number = "number"
    heads = [
        ("Criterion", "words"),
        ("Full marks at", number),
        ("No marks at", number),
        ("Rejects beyond", number),
    ]
    heads += [("Weight", number), ("Assessed", number), ("Sources", "words")]
    words = "Marks run in a straight line from none to full. What could not be assessed counts half: neither as good nor as bad."
    front: Sequence[bool] | np.ndarray = dominance(candidate_marks(result)) if result.choices else []
    best = [str(k + 1) for k, there in enumerate(front) if there]
    more = tag("p", f"No other option is in everything at least as good as {listed(best)}.") if best else None
    notes = tag("ol", *(tag("li", text) for text in cited), class_="sources")
    table = _table("Criteria; the numbers in the last column are those of the sources below", heads, rows)
    return _section("How marks are given", "criteria-title", tag("p", words), more, table, notes)


def _numbers(source: str, cited: list[str]) -> str:
    """The numbers of the sources of a rubric, in a list that they are added to."""
    words = [source_words(key) for key in keys_of(source)] or [source]
    cited += [text for text in words if text not in cited]
    return ", ".join(str(cited.index(text) + 1) for text in words)


def _rejections(result: Result) -> Element:
    found = [row for row in result.tables["rejections"].rows if row["rejected"]]
    several, styles = len(result.scans) > 1, measure_styles(result)
    titles = {judge.id: judge.criterion.description.title for judge in result.judges}
    rows = []
    for row in found[:MOST_REASONS]:
        which = [f"{row['house']}, {row['bearing_deg']:.0f}°"] if several else []
        style = styles.get(row["rule"], MeasureStyle())
        limit, miss = (style.value(row.get(name)) or "–" for name in ("limit_value", "nearest_miss"))
        miss = "just beyond the limit" if miss == limit != "–" else miss
        rows.append(
            [
                row["parcel"],
                *which,
                capital(file_words(rule_words(row["rule"], titles))),
                f"{row['tried']:,}",
                f"{row['rejected']:,}",
                limit,
                miss,
                "" if row["rule"] in titles else capital(file_words(row["reason"])),
            ]
        )
    heads = [
        ("Parcel", "words"),
        *([("House and ridge", "words")] if several else []),
        ("Rule", "words"),
        ("Tried", "number"),
    ]
    heads += [("Rejected", "number"), ("Limit", "number"), ("Nearest miss", "words"), ("Why", "words")]
    words = "Rules are tried in this order; a placement is counted at the first one that it breaks."
    left = (
        tag("p", f"{len(found) - MOST_REASONS:,} more rows stand in the GeoPackage.")
        if len(found) > MOST_REASONS
        else None
    )
    return _section(
        "Why placements were rejected",
        "reasons-title",
        tag("p", words),
        _table("Rejections by parcel and rule", heads, rows),
        left,
    )


def _run(result: Result) -> Element:
    groups = (
        ("note", "Found or assumed", True),
        ("input", "Inputs", False),
        ("setting", "Settings", False),
        ("grid", "Grid", False),
        ("version", "Versions", False),
    )
    section = _section("What the run was made of", "run-title")
    for kind, title, opened in groups:
        rows = [row for row in result.tables["run"].rows if row["kind"] == kind]
        if kind == "setting":
            rows = [{"name": one.title, "value": one.words} for one in shown_settings(result)]
        if not rows:
            continue
        items = [
            tag("div", tag("dt", named(row["name"])), tag("dd", named(row["value"], PROSE_LETTERS), _detail(row)))
            for row in rows
        ]
        put(section, tag("details", tag("summary", tag("h3", title)), tag("dl", *items, class_="run"), open=opened))
    return section


def _detail(row: dict[str, Any]) -> Element | None:
    return tag("span", " ", named(row["detail"], PROSE_LETTERS), class_="soft") if row.get("detail") else None
