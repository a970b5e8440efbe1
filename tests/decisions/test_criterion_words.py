"""What every host says of each criterion: words and units of the trade, never a bare number."""

from __future__ import annotations

import pytest

from tunnelsite.core import catalogue
from tunnelsite.core.criterion import Criterion
from tunnelsite.core.describe import Description
from tunnelsite.core.rubric import Rubric
from tunnelsite.decisions.criterion_words import WORDS, criterion_words, value_words


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
        ("low_ground", -2.75, "9 ft 1/2 in (2.75 m) higher than the land round it, so cold air drains away"),
        ("wind", 0.16, "It lies open to the winds given, with 16 % of the shelter close behind a hedge"),
        ("earthwork", 0.0004, "no cut that the elevation model can show"),
        ("earthwork", 0.03, "cuts 1 1/4 in (3 cm) off the pad on average"),
        ("night_light", 0.0, "No lamp"),
        ("night_light", 0.08, "0.08 lx on the leaves at night at the brightest spot, no more than a full moon"),
        ("standing", 0.0, "Nothing stands on the pad"),
        ("windbreak", 30.0, "30 or more of its own heights away"),
        ("soil_group", 3.0, "hydrologic group C"),
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


def _catalogued(name: str) -> Criterion:
    return next(one for one in catalogue.criteria() if one.id == name)


def test_no_criterion_is_told_by_a_bare_number() -> None:
    """Whatever a measure's unit: after its title stands a sentence, a class, or an amount with its unit."""
    for one in catalogue.criteria():
        rubric = next(iter(one.rubrics.values()))
        for value in (rubric.full_at, rubric.none_at, 0.0, 1.0, -0.4):
            if one.id == "wetness":  # an index: no unit, and no words that anyone could stand by
                continue
            said = value_words(one, value, {}, feet=True)
            assert said.strip("-0123456789.,"), f"{one.id} at {value}: {said!r}"


def test_a_criterion_of_a_plug_in_is_told_in_its_unit_with_its_curve() -> None:
    rubric = Rubric(full_at=0.0, none_at=3.048, weight=1.0)
    own = Criterion(Description("own", "Depth of the well", "Depth.", unit="m"), lambda site: site, {"any": rubric})
    told = "Depth of the well: 1 ft 7 3/4 in (50 cm) (full marks at 0 in (0 cm), none at 10 ft (3.05 m))"
    assert criterion_words(own, rubric, 0.5, {}, feet=True) == told
    assert value_words(own, 0.5, {}, feet=True) == "1 ft 7 3/4 in (50 cm)"
    assert criterion_words(own, rubric, None, {}, feet=True) == "Depth of the well: not assessed"


def test_what_a_criterion_could_not_look_at_is_said_with_it() -> None:
    said = value_words(_catalogued("sun"), 1.0, {}, feet=True, unseen="shade of trees")
    assert said == "All of the direct sun of the crop months reaches it; not in it: shade of trees"
