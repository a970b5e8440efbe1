"""Which swale is offered, and when none is: on planes where length, fall and earth follow by hand."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from tests.plans.places import distances, place, tilted
from tunnelsite.plans.drainage.channels import Section
from tunnelsite.plans.drainage.plan import DrainageSettings, drainage_plan
from tunnelsite.plans.drainage.swale import SwaleArm, SwaleRule, graded_arm, ring, swale_layouts
from tunnelsite.plans.drainage.swale_words import layout_words
from tunnelsite.plans.grading.plan import grading_plan
from tunnelsite.plans.site_limits import SiteLimits

SLOPE = 0.05


@pytest.fixture(scope="module")
def hillside():
    """A pad on a plane that falls 5 % to the south."""
    where = place(rows=141, cols=141)
    return grading_plan(tilted(where, 0.0, SLOPE), where)


def contour_then_down(where, length_m):
    """Points every half metre: along the contour, then straight down the hill."""
    along = np.arange(0, length_m + 0.25, 0.5)
    down = np.arange(0.5, 40, 0.5)
    east = np.concatenate([40 + along, np.full(down.size, 40 + along[-1])])
    return np.column_stack([east, np.concatenate([np.full(along.size, 100.0), 100.0 - down])]), along.size - 1


@pytest.mark.parametrize(("fall", "depth"), [(0.005, 0.3), (0.01, 0.25), (0.02, 0.5)])
def test_depth_length_and_earth_by_hand(fall: float, depth: float) -> None:
    """On a contour the ground is level, so the swale deepens by its fall; down the hill it comes out at slope less fall.

    Derived: with D = d + f L, daylight D / (S - f) further on; earth is the integral of b h + z h^2 over both.
    """
    where, length = place(rows=141, cols=141), 30.0
    points, last = contour_then_down(where, length)
    rule = SwaleRule(fall=fall, depth_m=depth)
    arm = graded_arm(where, tilted(where, 0.0, SLOPE), points, last, rule)
    b, z, deepest = rule.section.bottom_m, rule.section.run_per_rise, depth + fall * length
    assert arm.daylight
    assert arm.ground_m[last] - arm.bottom_m[last] == pytest.approx(deepest)
    out = deepest / (SLOPE - fall)
    assert arm.distance_m[-1] == pytest.approx(length + out, abs=0.5)  # whole steps of half a cell
    level = b * (depth * length + fall * length**2 / 2) + z * (deepest**3 - depth**3) / (3 * fall)
    down = (b * deepest**2 / 2 + z * deepest**3 / 3) / (SLOPE - fall)
    assert arm.volume_m3 == pytest.approx(level + down, rel=0.01)


def test_the_least_fall_digs_least() -> None:
    """Why steeper falls are not tried: the bottom is lower everywhere, so more is dug and daylight is farther."""
    where = place(rows=141, cols=141)
    points, last = contour_then_down(where, 30.0)
    arms = [
        graded_arm(where, tilted(where, 0.0, SLOPE), points, last, SwaleRule(fall=fall))
        for fall in (0.005, 0.01, 0.02, 0.03)
    ]
    for key in (lambda arm: arm.volume_m3, lambda arm: arm.distance_m[-1]):
        assert np.all(np.diff([key(arm) for arm in arms]) > 0)


def test_open_land_below_gets_the_swale_and_what_is_not_known_is_said(hillside) -> None:
    """Where the parcel goes on as far as the data, nobody below is known to be harmed, nor to be spared."""
    found = drainage_plan(hillside, None, SiteLimits(shapely.box(-1, -1, 142, 142)))
    assert found.arms and all(arm.daylight for arm in found.arms) and not found.spreaders
    assert not any("No swale is offered" in said for said in found.warnings)
    assert sum("runs off the elevation data before it leaves the parcel" in said for said in found.said) == len(
        found.arms
    )
    unowned = drainage_plan(hillside)
    assert unowned.arms and any("No parcel is known here" in said for said in unowned.said)


def test_no_swale_that_sends_a_neighbour_more_water(hillside) -> None:
    """The parcel ends 40 m below: water from a broad front would arrive there at one or two spots."""
    found = drainage_plan(hillside, DrainageSettings(spreader=None), SiteLimits(shapely.box(-1, 30, 142, 142)))
    assert found.arms == [] and found.intercepted_m2 == 0
    [said] = [said for said in found.warnings if "No swale is offered" in said]
    assert "would get more water than now, of " in said and "neighbour" in said and "level spreader" not in said
    np.testing.assert_array_equal(found.surface, hillside.finished)


def test_no_swale_over_the_parcel_s_edge(hillside) -> None:
    found = drainage_plan(hillside, None, SiteLimits(hillside.outline.buffer(0.5)))
    assert found.arms == []
    assert any("would leave the parcel" in said and "neighbour's consent" in said for said in found.warnings)


def test_no_swale_that_does_not_come_to_daylight() -> None:
    """On a fall of 0.4 %, a bottom falling 0.5 % never comes out: the words say how far below the ground it ends."""
    where = place(rows=141, cols=141, kind="container")
    found = drainage_plan(grading_plan(tilted(where, 0.0, 0.004), where))
    assert found.inflows_before
    assert found.arms == []
    [said] = [said for said in found.warnings if "No swale is offered" in said]
    assert "does not come to daylight" in said and "below the ground there" in said


def test_no_swale_where_no_water_comes_from_uphill() -> None:
    """The pad on a ridge: water runs off on all sides."""
    where = place(rows=141, cols=141)
    u, v = distances(where)
    found = drainage_plan(grading_plan(-0.0002 * (u**2 + v**2), where), DrainageSettings(worth_m2=500.0))
    assert found.arms == []
    assert any("less than 500 m²" in said for said in found.warnings)


@pytest.mark.parametrize("across", [0.02, -0.02])
def test_on_a_hill_that_slants_one_arm_runs_to_the_lower_side(across: float) -> None:
    """Rising east as well as north, all water goes down the west side, and the other way round."""
    where = place(rows=141, cols=141)
    plan = grading_plan(tilted(where, across, SLOPE), where)
    [arm] = drainage_plan(plan).arms
    assert arm.daylight
    assert (arm.along_m[-1] < where.centre[0]) == (across > 0)
    assert np.sign(arm.along_m[0] - arm.along_m[-1]) == np.sign(across)


def test_the_swale_offered_digs_least(hillside) -> None:
    """The chosen layout against every other one that comes to daylight."""
    from tunnelsite.plans.drainage.flow_paths import flow_over
    from tunnelsite.plans.drainage.swale_choice import _layouts

    wanted = DrainageSettings()
    flows = [flow_over(ground, 1.0) for ground in (hillside.natural, hillside.finished)]
    layouts = _layouts(hillside, *flows, wanted)
    good = [sum(arm.volume_m3 for arm in arms) for arms in layouts if all(arm.daylight for arm in arms)]
    assert len(layouts) == 3 and len(good) >= 1
    found = drainage_plan(hillside, wanted)
    assert sum(arm.volume_m3 for arm in found.arms) == pytest.approx(min(good))


@pytest.mark.parametrize(("spots", "arms"), [([(30, 0)], [1]), ([(-30, 0)], [1]), ([(30, 0), (-30, 0)], [2, 1, 1])])
def test_an_arm_is_laid_on_the_sides_where_water_comes_in(hillside, spots, arms) -> None:
    """Both sides at once, or all of it down one side; where water comes in on one side alone, only there."""
    where = hillside.place
    around = ring(hillside.outline, SwaleRule())
    needed = [(where.centre[0] + u, where.centre[1] + v) for u, v in spots]
    layouts = swale_layouts(where, hillside.natural, around, SwaleRule(), needed, lambda along, across: None)
    assert [len(one) for one in layouts] == arms
    names = [layout_words(one, where).partition(" (")[0] for one in layouts]
    assert len(set(names)) == len(layouts)
    if len(spots) == 2:  # the hill falls to the south, so one arm runs to either end of the ridge
        assert names[0] == "A swale of 2 arms, on the east and west"
        assert sorted(name[-4:] for name in names[1:]) == ["east", "west"] and all(
            "of 1 arm, on the " in name for name in names[1:]
        )
    if len(spots) == 1:  # from the top of the ring toward the side of the spot
        [[arm]] = layouts
        assert np.sign(arm.along_m[-1] - arm.along_m[0]) == np.sign(spots[0][0])
    assert swale_layouts(where, hillside.natural, around, SwaleRule(), [], None) == []


def test_an_arm_takes_up_the_ground_between_the_tops_of_its_sides() -> None:
    along = np.linspace(0.0, 20.0, 21)
    level = np.zeros(21)
    arm = SwaleArm(along, level, along, level, level - 0.5, True, 0.0)  # 0.5 m deep
    found = arm.footprint(Section(0.6, 3.0))
    assert found.bounds == pytest.approx((-1.8, -1.8, 21.8, 1.8), abs=1e-6)  # 0.6 / 2 + 3 x 0.5
    assert shapely.covers(found, shapely.box(0, -1.8, 20, 1.8).buffer(-1e-9))
