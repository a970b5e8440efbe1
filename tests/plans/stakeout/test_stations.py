"""Stakes of swale, lips and side slopes: heights, distances and signs against the plan and against lengths by hand."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from tests.plans.places import place, rough, tilted
from tunnelsite.kernels.terrain.grading import FINISHED_SLOPE
from tunnelsite.plans.drainage.plan import drainage_plan
from tunnelsite.plans.drainage.swale import SwaleRule
from tunnelsite.plans.grading.plan import grading_plan
from tunnelsite.plans.site_limits import SiteLimits
from tunnelsite.plans.stakeout.stations import stations

SLOPE, W = 0.05, 9.0
PARCEL = shapely.box(-1, 30, 142, 142)


@pytest.fixture(scope="module")
def planned():
    """A pad on a plane that falls 5 % to the south, its swale with two spreaders."""
    where = place(rows=141, cols=141)
    plan = grading_plan(tilted(where, 0.0, SLOPE), where)
    drainage = drainage_plan(plan, None, SiteLimits(PARCEL))
    return plan, drainage, stations(plan, drainage)


def test_swale_can_be_dug_from_its_stations(planned) -> None:
    """Never farther apart than 10 ft or so, on the arm, never rising, at full depth at the top, on the ground at the outlet."""
    plan, drainage, found = planned
    rule = SwaleRule()
    for k, arm in enumerate(drainage.arms, 1):
        run = [one for one in found if one.label.startswith(f"swale {k}-")]
        at = np.array([one.station_m for one in run])
        assert at[0] == 0 and at[-1] == pytest.approx(arm.distance_m[-1]) and np.diff(at).max() <= 3.0 + 1e-9
        assert run[0].cut_m == pytest.approx(rule.depth_m) and run[-1].cut_m == pytest.approx(0.0, abs=1e-9)
        bottom = np.array([one.finish_m for one in run])
        assert (-np.diff(bottom)[:-1] >= rule.fall * np.diff(at)[:-1] - 1e-9).all()
        for one in run:
            assert shapely.distance(arm.line, shapely.points(one.along_m, one.across_m)) < 1e-6
            # the ground of a plane, by hand
            assert one.ground_m == pytest.approx(100 + SLOPE * (one.across_m - plan.place.centre[1]), abs=1e-6)


def test_lips_are_level_and_dug_to_one_height(planned) -> None:
    _, drainage, found = planned
    for k, spreader in enumerate(drainage.spreaders, 1):
        lip = [one for one in found if one.label.startswith(f"lip {k}-")]
        assert {one.finish_m for one in lip} == {spreader.level_m}
        assert all(-1e-6 <= one.cut_m <= 0.3 for one in lip)
        assert lip[-1].station_m == pytest.approx(spreader.line.length)


def test_slope_stakes_by_hand(planned) -> None:
    """At h above the pad's edge a cut of 3:1 comes out 3 h away, the stake says h and 3 h: here h = d / (1 - 3 s) uphill, d =
    (s - 1/192) W / 2, and the same as fill downhill (derived)."""
    plan, _, found = planned
    feet = [one for one in found if one.kind == "slope stake"]
    deep = (SLOPE - FINISHED_SLOPE) * W / 2
    for side, sign in ((1, 1), (-1, -1)):
        row = [
            one
            for one in feet
            if abs(one.along_m - plan.place.centre[0]) < 13 and side * (one.across_m - plan.place.centre[1]) > W / 2
        ]
        assert len(row) >= 29 / 3 - 2
        for one in row:
            assert one.cut_m == pytest.approx(sign * deep / (1 - 3 * SLOPE), abs=2e-3)
            assert one.station_m == pytest.approx(3 * abs(one.cut_m), abs=2e-3)


def test_slope_stakes_keep_to_the_gradient_on_any_ground() -> None:
    """|cut| = distance / 3 at every foot, whatever the ground; and nothing of the plan is disturbed beyond them."""
    where = place(apron_m=1.2)
    plan = grading_plan(rough(where, 6, relief_m=1.5), where)
    feet = stations(plan, None)
    assert {one.kind for one in feet} == {"slope stake"} and len(feet) > 20
    for one in feet:
        assert abs(one.cut_m) == pytest.approx(one.station_m / 3, abs=0.02)
        assert shapely.distance(plan.outline.exterior, shapely.points(one.along_m, one.across_m)) < 0.05
    corners = [
        one
        for one in feet
        if abs(one.along_m - where.centre[0]) > where.pad.length_m / 2 + 0.05
        and abs(one.across_m - where.centre[1]) > where.pad.width_m / 2 + 0.05
    ]
    assert 1 <= len(corners) <= 4


def test_a_terrace_needs_no_slope_stakes() -> None:
    where = place()
    assert stations(grading_plan(tilted(where, 0.001, 0.003), where), None) == []
