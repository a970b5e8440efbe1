"""Lists of what no elevation model answers: every line has a source that exists or says that it has none."""

from __future__ import annotations

import re

import pytest

from tunnelsite.core.sources import sources
from tunnelsite.report.checklists import COMMON, checklists, checklists_page

PAGE = checklists_page("Before you build at <Alder & Fen>")


def test_every_line_has_a_source_or_says_that_it_has_none() -> None:
    published = {entry.words for entry in sources().values()}
    items = [item for one in checklists() for item in one.items]
    assert len(items) > 30 and any(item.source == COMMON for item in items)
    for item in items:
        assert item.source == COMMON or set(item.source.split("; ")) <= published, item.text


@pytest.mark.parametrize(
    "topic",
    [
        "Do you need",
        "Used houses",
        "Grants, tax",
        "Loads and anchors",
        "Clearing and base",
        "Doors",
        "Snow",
        "Water",
        "next house",
    ],
)
def test_topics(topic: str) -> None:
    assert any(topic in one.title for one in checklists())


def test_safety_stands_where_the_work_can_hurt() -> None:
    lines = [item.text for one in checklists() for item in one.items]
    assert any("buried utilities" in line and "before any digging" in line for line in lines)
    assert any("licensed practice confirm loads" in line and "Local codes rule" in line for line in lines)


def test_the_page_has_a_box_a_line_runs_nothing_and_asks_nothing_of_a_network() -> None:
    lines = sum(len(one.items) for one in checklists())
    assert PAGE.count('type="checkbox"') == lines
    assert set(re.findall(r'<label for="([^"]+)"', PAGE)) == set(re.findall(r'id="(list-\d+-\d+)"', PAGE))
    assert (
        "<script" not in PAGE and "http://" not in PAGE and "https://" not in PAGE and "&lt;Alder &amp; Fen&gt;" in PAGE
    )
    assert "default-src 'none'" in PAGE
    sourced = [item for one in checklists() for item in one.items if item.source != COMMON]
    assert PAGE.count("<sup>") == len(sourced) and "Lines without a number: common practice, no source." in PAGE
    assert all(item.source.replace("&", "&amp;") in PAGE for item in sourced)


def test_no_amount_of_money_is_named() -> None:
    assert not re.search(r"[$€£]\s?\d", PAGE)
