"""Matching of two rankings; pages that follow the catalogue."""

from __future__ import annotations

import runpy
from pathlib import Path

import pytest
import shapely

from tunnelsite.decisions.compare import Pair, differing, paired

DOCS = Path(__file__).parents[2] / "docs"
PAGES = runpy.run_path(str(DOCS / "make_pages.py"))["PAGES"]


def test_places_are_matched_once_by_overlap():
    a = [shapely.box(0, 0, 10, 5), shapely.box(50, 0, 60, 5)]
    b = [shapely.box(90, 0, 99, 5), shapely.box(2, 0, 12, 5)]
    assert paired(a, [80, 70], b, [75, 60]) == [
        Pair(1, 2, 0.8, -20.0),
        Pair(2, None, 0.0, None),
        Pair(None, 1, 0.0, None),
    ]
    assert paired([], [], b, [1, 2]) == [Pair(None, 1, 0.0, None), Pair(None, 2, 0.0, None)]


def test_differing_settings():
    assert differing({"a": 1, "b": 2}, {"a": 1, "b": 3, "c": 4}) == {"b": (2, 3), "c": (None, 4)}


@pytest.mark.parametrize("name", PAGES)
def test_pages_are_up_to_date(name):
    """`python docs/make_pages.py` writes them anew."""
    assert (DOCS / name).read_text(encoding="utf-8") == PAGES[name]()


def test_a_small_house_in_a_large_one_is_paired_with_itself():
    large, small = shapely.box(0, 0, 30, 10), shapely.box(5, 2, 20, 8)
    found = paired([large, small], [90, 80], [large, small], [90, 80])
    assert [(pair.rank_a, pair.rank_b) for pair in found] == [(1, 1), (2, 2)]


def test_a_house_that_moved_a_little_is_no_other_house_at_its_old_spot():
    """Two sizes compete: the large one moved by a step, and a small one came to lie where the large one was."""
    large, moved, small = shapely.box(0, 0, 30, 10), shapely.box(2, 0, 32, 10), shapely.box(5, 2, 20, 8)
    found = paired([large], [90], [small, moved], [91, 89])
    assert [(pair.rank_a, pair.rank_b) for pair in found] == [(1, 2), (None, 1)]
