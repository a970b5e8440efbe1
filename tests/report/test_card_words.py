"""What a card says of each criterion."""

from __future__ import annotations

import pytest

from tunnelsite.core import catalogue
from tunnelsite.report.card_words import WORDS


def test_every_built_in_criterion_with_a_weight_has_words() -> None:
    weighted = {one.id for one in catalogue.criteria() if max(rubric.weight for rubric in one.rubrics.values()) > 0}
    assert weighted & set(catalogue_ids()) <= set(WORDS)


def catalogue_ids() -> list[str]:
    from importlib import import_module

    return [
        getattr(import_module(f"tunnelsite.criteria.{module}"), name).id for module, name in catalogue.BUILT_IN_CRITERIA
    ]


@pytest.mark.parametrize(
    ("name", "value", "said"),
    [
        ("drainage_height", -0.2, "below the level of the stream"),
        ("drainage_height", 0.5, "1 ft 7 3/4 in (50 cm) above the stream"),
        ("drainage_distance", 200.0, "656 ft (200 m) or more away"),
        ("drainage_distance", 7.0, "23 ft (7.0 m) away"),
        ("flow_beside", 0.0, "No stream or swale passes close by"),
        ("flow_beside", 2.92e6, "292.0 ha"),
        ("low_ground", 0.2, "no lower than the land round it"),
        ("low_ground", 4.5, "lower than the land round it, to where cold air drains"),
        ("hilltop", 1.0, "No hilltop"),
        ("hilltop", 1.66, "about 1.7 times"),
    ],
)
def test_words_on_water_cold_air_and_wind(name, value, said) -> None:
    assert said in WORDS[name](value, {}, True)


def test_a_cut_that_rounds_to_nothing_is_none_that_the_model_shows():
    words = WORDS["deepest_cut"]
    assert words(0.0, {}, True) == words(0.002, {}, False) == "Grading takes no cut that the elevation model can show"
    assert words(0.05, {}, False) == "Grading cuts 5 cm (2 in) deep at most"
