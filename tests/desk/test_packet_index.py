"""The first page of a packet: a client finds the report and each place before the tables."""

from __future__ import annotations

import re

from tunnelsite.core import catalogue
from tunnelsite.desk.packet_index import DATA, TO_READ, Written, of_plan, packet_index

PLACE = {"lon": -78.15, "lat": 43.0, "bearing_deg": 90.0, "house": "30x96ft"}
PIN = {"letter": "A", "name": "By the <lane>", "note": "near & dry", "place": PLACE}


def page(*pieces: Written) -> str:
    return packet_index("Home <farm>", [PIN], pieces)


def test_the_report_comes_first_and_tables_last() -> None:
    kinds = {kind.id: kind for kind in catalogue.plans()}
    text = page(
        of_plan(kinds["grade"], "A", "station_table", "A-grade/grading-stations.csv"),
        of_plan(kinds["grade"], "A", "layers", "A-grade/grading.gpkg"),
        of_plan(kinds["stake_out"], "A", "page", "A-stake-out/stakes.html"),
        Written("Report", "report.html"),
        Written("Places (GPX)", "options.gpx", part=DATA),
    )
    assert re.findall(r'href="(.*?)"', text) == [
        "report.html", "A-stake-out/stakes.html", "A-grade/grading-stations.csv", "A-grade/grading.gpkg", "options.gpx",
    ]  # fmt: skip
    assert "A, grading plan: the stakes with their places and heights" in text


def test_words_of_the_user_are_escaped_and_what_is_missing_is_said() -> None:
    text = page(Written("A: Grading plan", reason="no <heights>"))
    assert "By the &lt;lane&gt;" in text and "near &amp; dry" in text and "Home &lt;farm&gt;" in text
    assert "<h2>Not in it</h2><ul><li>A: Grading plan: no &lt;heights&gt;</li></ul>" in text
    assert "<h2>Not in it</h2>" not in page()


def test_what_is_to_be_read_is_what_plans_write() -> None:
    kinds = {kind.id: kind for kind in catalogue.plans()}
    assert {kind for kind, _ in TO_READ} <= set(kinds)
    for kind, what in TO_READ:
        assert what in {one.id for one in kinds[kind].gives} | {"page", "phone"}
