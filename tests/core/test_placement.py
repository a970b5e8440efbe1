"""A placement: what it refuses, what it is called, and which bearing its grid has."""

from __future__ import annotations

import pickle

import pytest

from tunnelsite.core.errors import UsageError
from tunnelsite.core.house import House
from tunnelsite.core.placement import Placement

HOUSE = House.parse("30x96ft")


@pytest.mark.parametrize(
    ("where", "words"),
    [
        ((43.0, -178.0, 90.0, HOUSE), "longitude comes first"),
        ((float("nan"), 43.0, 90.0, HOUSE), "longitude comes first"),
        ((-78.0, 43.0, 400.0, HOUSE), "true north"),
        ((-78.0, 43.0, 90.0, "30x96ft"), "House.parse"),
    ],
)
def test_what_cannot_be_is_refused(where, words) -> None:
    with pytest.raises(UsageError, match=words):
        Placement(*where)


def test_its_title_says_where_it_is() -> None:
    assert Placement(-78.1, 43.0, 90.0, HOUSE).title == "Place -78.10000, 43.00000, 30x96ft"
    assert Placement(-78.1, 43.0, 90.0, HOUSE, "By the barn").title == "By the barn"


def test_settings_may_be_a_mapping_and_what_is_given_goes_before() -> None:
    place = Placement(-78.1, 43.0, 90.0, HOUSE, settings={"apron": "4ft", "halo": "20m"})
    assert place.settings == (("apron", "4ft"), ("halo", "20m"))
    assert dict(place.with_settings({"halo": "5m"}).settings) == {"apron": "4ft", "halo": "5m"}
    assert pickle.loads(pickle.dumps(place)) == place and hash(place)


@pytest.mark.parametrize(
    ("own", "asked", "grid"), [(90.04, 90.0, 90.0), (0.02, 180.0, 180.0), (90.04, 60.0, 90.04), (12.0, None, 12.0)]
)
def test_the_grid_has_the_bearing_that_was_asked_for_where_it_is_the_same_ridge(own, asked, grid) -> None:
    settings = () if asked is None else (("bearing", asked),)
    assert Placement(-78.1, 43.0, own, HOUSE, settings=settings).grid_bearing_deg == grid
