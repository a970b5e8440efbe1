"""Lists of what no elevation model answers: every line has a source that exists or says that it has none."""

from __future__ import annotations

import re

import pytest

from tunnelsite.core.sources import sources
from tunnelsite.report.candidate_study import Study
from tunnelsite.report.card_around import around
from tunnelsite.report.checklists import COMMON, checklists, checklists_page, known_of

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


def test_what_a_run_knows_stands_below_its_line() -> None:
    row = {
        "water_head_m": 7.03, "way_in_m": 100.0, "way_in_pct": 2.0, "way_in_steepest_pct": 4.0, "door_room_m": 30.0,
        "next_house": "beside", "beside_free_m": 40.0, "end_free_m": 5.0, "upwind_m": 20.0, "upwind_heights": 4.0,
    }  # fmt: skip
    shed = {"water_head_m": -3.0, "way_in_m": None, "door_room_m": None, "next_house": None, "upwind_heights": None}
    studies = [Study(1, row, "", label="A", feet=True), Study(2, shed, "", label="B")]
    page = checklists_page(known=known_of(studies))
    assert "Option A: 23 ft (7.0 m) higher than the house: 10.0 psi (69 kPa)" in page
    assert "Option B: 3.0 m (10 ft) lower than the house: pump it" in page
    assert "climbs 2.0 %, at most 4.0 % over 33 ft (10 m)" in page
    assert "one of this size fits beside it; free ground 131 ft (40 m)" in page
    assert "4 times their height" in page and "In snow country keep at least 100 ft (30 m) away" in page
    keys = {item.known for one in checklists() for item in one.items if item.known}
    assert keys == {one.key for one in around(row, feet=True)}
    assert page.count("Option B") == 1 and 'class="known"' not in checklists_page()


def test_no_amount_of_money_is_named() -> None:
    assert not re.search(r"[$€£]\s?\d", PAGE)
