"""Titles inside a sentence and at the head of a line."""

from __future__ import annotations

import pytest

from tunnelsite.core.wording import capital, inside, place_words


@pytest.mark.parametrize(
    ("title", "words"),
    [
        ("Ponding", "ponding"),
        ("Shelter from the NW wind", "shelter from the NW wind"),
        ("HAND of the USGS", "HAND of the USGS"),
        ("pH of the soil", "pH of the soil"),
        ("A house on it", "a house on it"),
        ("N slope", "N slope"),
        ("", ""),
    ],
)
def test_a_title_inside_a_sentence_keeps_its_abbreviations(title: str, words: str) -> None:
    assert inside(title) == words


def test_a_capital_leaves_the_rest_as_it_is() -> None:
    assert capital("reach of NW gate") == "Reach of NW gate" and capital("") == ""


def test_a_place_says_which_number_is_which() -> None:
    assert place_words(-78.1497391, 43.0079664) == "lat 43.007966, lon -78.149739"
