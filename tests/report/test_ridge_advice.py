"""What a sun chart says of the ridge's bearing and of the gap between houses. All DERIVED."""

import json

import pytest

from tests.report.test_site_horizon import _frame
from tunnelsite.core.house import House
from tunnelsite.core.units import FOOT_M
from tunnelsite.report.ridge_advice import house_gaps, ridge_bearing_cost


@pytest.mark.parametrize("lat", [43.0, -43.0])
def test_east_west_wins_in_winter_and_not_in_summer(lat):
    cost = ridge_bearing_cost(lat, 90.0)
    assert cost["east_west_over_north_south"]["midwinter"] > 0.05
    assert cost["east_west_over_north_south"]["midsummer"] < 0.01
    assert set(cost["east_west_over_this_bearing"].values()) == {0.0}
    assert "derived, not published" in cost["source"]
    turned = ridge_bearing_cost(lat, 70.0)["east_west_over_this_bearing"]["midwinter"]
    assert 0 < turned < cost["east_west_over_north_south"]["midwinter"]


def test_polar_night_is_null():
    cost = ridge_bearing_cost(75.0, 0.0)
    assert cost["east_west_over_this_bearing"]["midwinter"] is None
    (gap,) = house_gaps(75.0, 90.0, [House(9, 29)])
    assert gap["arch_noon_m"] is None and gap["gable_10_to_14_h_solar_m"] is None
    json.dumps([cost, gap], allow_nan=False)


def test_gap_of_the_project_notes():
    """12 ft ridge, 30 ft wide, E-W: 9.0 ft at noon at 40 N, 12.7 ft from 10 to 14 h, ridge alone (derived)."""
    for lat in (40.0, -40.0):
        (gap,) = house_gaps(lat, 90.0, [House(30 * FOOT_M, 96 * FOOT_M, ridge_m=12 * FOOT_M)])
        assert gap["gable_noon_m"] / FOOT_M == pytest.approx(9.0, abs=0.05)
        assert gap["gable_10_to_14_h_solar_m"] / FOOT_M == pytest.approx(12.7, abs=0.06)
        assert gap["arch_noon_m"] > gap["gable_noon_m"]


def test_far_land_in_the_horizon_of_a_point():
    import numpy as np

    from tests.scan.grounds import raster
    from tunnelsite.report.site_horizon import Surroundings, horizon_at

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
