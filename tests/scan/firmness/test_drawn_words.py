"""What the errors of the heights make of an option is told where they change its water or its score, and only there."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely

from tests.scan.grounds import site
from tunnelsite import Settings, screen
from tunnelsite.core.house import House
from tunnelsite.desk.answer import Told, answer_of
from tunnelsite.desk.measures import Units
from tunnelsite.hosts.cli.screening import summary_of
from tunnelsite.hosts.cli.screening_words import words_of
from tunnelsite.scan.firmness.drawn_words import drawn_words

WEST, NORTH = 499_900.0, 4_700_100.0


@pytest.fixture(scope="module")
def banked():
    """2 % to the south. A hollow gathers over a hectare above the parcel, and a bank of 8 cm, hardly more than the errors, turns it
    off just above the pad."""
    r, c = np.mgrid[0:200, 0:100].astype(float)
    bank = 0.08 * np.exp(-(((r - 136 - 0.6 * (c - 50)) / 2) ** 2)) * (np.abs(c - 50) < 40)
    ground = 100 - 0.02 * r + 0.02 * np.minimum(np.abs(c - 50), 45) * (r < 136) + bank
    parcel = shapely.box(WEST + 37, NORTH - 160, WEST + 63, NORTH - 144)
    settings = Settings(halo_m=160, top=1, azimuths=8, elevation_error_m=0.05, kind="container")
    return screen(site(ground, [parcel]), House(6, 12, kind="container"), settings=settings)


def test_water_that_the_errors_turn_onto_the_pad_is_told(banked, tmp_path):
    row, shares = banked.rows[0], banked.rank_shares
    assert row["upslope_m2"] < 500 and shares.wet_high["drainage"][0] > 5_000
    assert shares.score_mean[0] < row["score"] - 2, "the score that ranks does not count it"
    said = drawn_words(banked, shares, 1)
    assert f"it scores {shares.score_mean[0]:.1f} on average" in said
    assert "one time in ten more than 1.2 ha" in said and "of land drains through the pad" in said
    assert said in words_of(summary_of(banked, tmp_path / "sites.gpkg", 1.0), False)
    assert said in answer_of(banked, Told("run", 1.0), Units(False))["options"][0]["words"]


def test_what_changes_little_is_not_told_and_each_change_is_named(banked):
    shares, score = banked.rank_shares, banked.choices[0].score
    dry = {name: np.zeros(1) for name in shares.wet_high}
    same = replace(shares, wet_high=dry, score_mean=np.array([score - 0.5]), out=np.zeros(1))
    assert drawn_words(banked, same, 1) == ""
    worse = replace(same, score_mean=np.array([score - 7]), out=np.array([0.1]))
    assert drawn_words(banked, worse, 1) == (
        f"Within the errors of the heights it scores {score - 7:.1f} on average, and a limit rejects it 10 % of the time."
    )
    deep = replace(same, wet_high=dry | {"ponding": np.array([0.3])})
    assert "one time in ten water stands more than 30 cm" in drawn_words(banked, deep, 1)
    unrouted = replace(same, wet_high={"drainage": np.array([np.nan])})
    assert drawn_words(banked, unrouted, 1) == ""
