"""What a sun chart says of the ridge's bearing and of the gap between houses. All DERIVED."""

import json

import pytest

from tests.plans.sunchart.test_site_horizon import _frame
from tunnelsite.core.house import House
from tunnelsite.core.units import FOOT_M
from tunnelsite.plans.sunchart.ridge_advice import house_gaps, published_advice, ridge_light
from tunnelsite.sun.film import FilmLight
from tunnelsite.sun.irradiance import clear_sky_steps
from tunnelsite.sun.position import Observer

CROP = ((10, 1), (4, 30))


def ridges(steps, bearing):
    return [FilmLight.of(steps, one) for one in (90.0, 0.0, bearing)]


@pytest.fixture(scope="module", params=[43.0, -43.0])
def advice(request):
    lat, crop = request.param, CROP if request.param > 0 else ((4, 1), (10, 31))
    steps = clear_sky_steps(Observer(lat, 0.0))
    return {bearing: ridge_light(lat, bearing, ridges(steps, bearing), crop) for bearing in (90.0, 0.0, 70.0)}


def rows(found):
    return {row["season"]: row for row in found["seasons"]}


def test_east_west_wins_in_winter_and_north_south_in_summer(advice):
    season = rows(advice[90.0])
    gain = {name: row["east_west_over_north_south"] for name, row in season.items()}
    assert gain["winter_half_year"] > 0.02 > 0 > gain["summer_half_year"] > -0.05
    assert gain["winter_half_year"] > gain["crop_months"] > gain["year"] > gain["summer_half_year"]
    for row in season.values():
        assert row["this_bearing"] == row["east_west"]
        assert row["east_west_over_north_south"] == pytest.approx(row["east_west"] / row["north_south"] - 1, abs=2e-3)
    assert all(row["this_bearing"] == row["north_south"] for row in rows(advice[0.0]).values())
    turned = rows(advice[70.0])["winter_half_year"]
    assert turned["north_south"] < turned["this_bearing"] < turned["east_west"]
    assert "derived, not published" in advice[90.0]["source"] and "clear sky" in advice[90.0]["source"]


def test_published_advice_follows_latitude_and_says_that_sources_disagree():
    for lat, words in (
        (45.0, "here that is east-west"),
        (35.0, "here that is north-south"),
        (-35.0, "northern hemisphere"),
    ):
        text = published_advice(lat)
        assert words in text and text.startswith("sources disagree")
        assert "eOrganic" in text and "New South Wales" in text and "Iowa" in text


def test_polar_night_is_null():
    steps = clear_sky_steps(Observer(80.0, 0.0))
    row = rows(ridge_light(80.0, 0.0, ridges(steps, 0.0), ((11, 15), (1, 15))))["crop_months"]
    assert {row[name] for name in ("east_west", "north_south", "this_bearing", "east_west_over_north_south")} == {None}
    (gap,) = house_gaps(75.0, 90.0, [House(9, 29)])
    assert gap["arch_noon_m"] is None and gap["gable_10_to_14_h_solar_m"] is None
    json.dumps([row, gap], allow_nan=False)


def test_gap_of_a_ridge_alone():
    """12 ft ridge, 30 ft wide, E-W: 9.0 ft at noon at 40 N, 12.7 ft from 10 to 14 h, ridge alone (derived)."""
    for lat in (40.0, -40.0):
        (gap,) = house_gaps(lat, 90.0, [House(30 * FOOT_M, 96 * FOOT_M, ridge_m=12 * FOOT_M)])
        assert gap["gable_noon_m"] / FOOT_M == pytest.approx(9.0, abs=0.05)
        assert gap["gable_10_to_14_h_solar_m"] / FOOT_M == pytest.approx(12.7, abs=0.06)
        assert gap["arch_noon_m"] > gap["gable_noon_m"]


def test_far_land_in_the_horizon_of_a_point():
    import numpy as np

    from tests.scan.grounds import raster
    from tunnelsite.plans.sunchart.site_horizon import Surroundings, horizon_at

    frame = _frame()
    heights = np.full((600, 600), 200.0)
    heights[60:101] = 900.0  # 30 m cells, centred on the farm: a crest about 6 km to the north
    far = raster(heights, -9000.0, 9000.0, 30.0, frame.grid.crs, 200.0)
    found = horizon_at(frame, -78.0, 43.0, 1.0, Surroundings(far_dem=far, far_reach_m=9000.0))
    at = int(np.argmin(np.abs(found.surface.azimuth_deg - 0.0)))
    assert found.surface.distance_m[at] == pytest.approx(6000.0, abs=46)
    expected = np.degrees(
        np.arctan(699.0 / found.surface.distance_m[at] - found.surface.distance_m[at] * 0.87 / 2 / 6_371_000)
    )
    assert found.surface.elevation_deg[at] == pytest.approx(expected, abs=0.1)
    assert found.ground.elevation_deg[at] == found.surface.elevation_deg[at] and found.surface.what[at] == "ground"
    assert found.surface.elevation_deg[360] == pytest.approx(0.0, abs=0.05)
    assert any("far horizon" in note for note in found.notes)
    without = horizon_at(frame, -78.0, 43.0, 1.0)
    assert without.surface.elevation_deg.max() == 0.0
