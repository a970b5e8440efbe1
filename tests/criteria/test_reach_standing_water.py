"""Reach of services, what stands on the pad and open water, against distances and heights worked by hand."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from tests.criteria.test_wetness_groups_windbreak import HOUSE, NORTH, WEST, box, places, settings
from tests.scan.grounds import features, site
from tunnelsite import screen


@pytest.fixture(scope="module")
def run():
    """Level ground of 60 m by 120 m: a tap, a road along the south, a yard, a low and a high shed, a pond that is perfectly level."""
    ground = 100 + 0.002 * np.mgrid[0:60, 0:120][1]
    ground[5:25, 80:118] = 99.0
    farm = site(
        ground,
        obstacles=features([box(30, 10, 34, 14), box(60, 40, 64, 44)], height_m=[1.5, 5.0]),
        services={
            "water": features([shapely.Point(WEST + 20, NORTH - 30)], name="tap"),
            "road": features([shapely.LineString([(WEST - 50, NORTH - 55), (WEST + 200, NORTH - 55)])], name="road"),
            "power": features([box(90, 30, 100, 50)], name="yard"),
            "fuel": features([], name="none"),
        },
    )
    return screen(farm, HOUSE, settings=settings())


def test_reach_of_a_point_a_line_and_an_area_by_hand(run):
    """From the edge, not the middle: 12 m by 6 m, so |d| less 6 m east-west and 3 m north-south, and 0 on an area.

    To 5 cm: metres of UTM on its central meridian are 0.04 % short of true ones."""
    east, south = places(run)
    measures = run.scans[0].measures

    def gap(low, high, at, half):
        return np.maximum(np.maximum(low - at - half, at - half - high), 0.0)

    water = np.hypot(gap(20, 20, east, 6), gap(30, 30, south, 3))
    power = np.hypot(gap(90, 100, east, 6), gap(30, 50, south, 3))
    assert measures["reach_water"] == pytest.approx(water, abs=0.05)
    assert measures["reach_road"] == pytest.approx(gap(55, 55, south, 3), abs=0.05)
    assert measures["reach_power"] == pytest.approx(power, abs=0.05) and (measures["reach_power"] == 0).any()
    assert "reach_fuel" not in measures  # an empty layer is not a distance of zero
    rubric = next(judge.rubric for judge in run.judges if judge.id == "reach_water")
    assert (
        rubric.marks(np.array([0.0, 30.0, 215.0, 400.0, 900.0])) == pytest.approx([1, 1, 0.5, 0, 0])
        and rubric.limit is None
    )
    assert run.rows[0]["reach_fuel_m"] is None if "reach_fuel_m" in run.rows[0] else True


def test_nothing_is_offered_on_what_stands_or_on_a_level_pond(run):
    """What is drawn rejects every pad that meets it, a shed of 1.5 m as well as one of 5 m, and no other; the pond rejects."""
    east, south = places(run)

    def meets(west, north, right, bottom, spare):
        return (np.abs(east - (west + right) / 2) < (right - west) / 2 + 6 - spare) & (
            np.abs(south - (north + bottom) / 2) < (bottom - north) / 2 + 3 - spare
        )

    assert not meets(60, 40, 64, 44, 1.0).any() and not meets(80, 5, 118, 25, 1.0).any()
    assert not meets(30, 10, 34, 14, 0.05).any() and meets(30, 10, 34, 14, -1.1).any()
    rejected = {row["rule"]: row["rejected"] for row in run.tables["rejections"].rows}
    assert rejected["obstacles"] > 0 and rejected["water_like"] > 0
