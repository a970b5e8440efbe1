"""Grading plans against closed forms, invariances and hostile ground."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.plans.places import distances, place, rough, tilted
from tunnelsite.core import amounts
from tunnelsite.core.errors import InputRefused, UsageError
from tunnelsite.kernels.terrain.grading import FINISHED_SLOPE
from tunnelsite.plans.grading.earth_rule import EarthRule, fixed_shape
from tunnelsite.plans.grading.plan import grading_plan
from tunnelsite.plans.grading.warnings import plan_warnings
from tunnelsite.plans.site_limits import SiteLimits

L, W = 29.0, 9.0


def owned(land) -> SiteLimits:
    """All of it open ground of the parcel."""
    return SiteLimits(land, land)


@pytest.mark.parametrize("slope", [0.02, -0.05])
def test_tilted_plane(slope: float) -> None:
    """Cut = fill = (s - 1/192) L^2 W / 8 on a plane that rises s along the ridge (derived)."""
    where = place()
    plan = grading_plan(tilted(where, slope, 0.0), where)
    over = abs(slope) - FINISHED_SLOPE
    exact = over * L**2 * W / 8
    assert plan.pad.cut_m3 == pytest.approx(exact * (1 - 1 / L**2), rel=1e-6)  # the middle cell straddles the axis
    assert plan.pad.fill_m3 == pytest.approx(plan.pad.cut_m3, rel=1e-6)
    assert plan.pad.max_cut_m == pytest.approx(over * L / 2, rel=1e-6)  # at the pad's end
    assert plan.plane.slope_along == pytest.approx(np.sign(slope) * FINISHED_SLOPE)
    assert plan.saved_m3 == pytest.approx(0.0, abs=1e-6)


def test_a_finer_cell_comes_to_the_closed_form() -> None:
    where = place(rows=161, cols=321, cell_m=0.25)
    plan = grading_plan(tilted(where, 0.04, 0.0), where)
    assert plan.pad.cut_m3 == pytest.approx((0.04 - FINISHED_SLOPE) * L**2 * W / 8, rel=3e-4)


def test_ground_within_the_limits_is_left_alone() -> None:
    """A terrace at 0.1 and 0.3 %: nothing to move, no side slope, the outline is the pad."""
    where = place()
    ground = tilted(where, 0.001, 0.003)
    plan = grading_plan(ground, where)
    assert plan.cut_m3 + plan.fill_m3 == pytest.approx(0.0, abs=1e-4)
    assert plan.outline.area == pytest.approx(L * W, rel=1e-4)
    assert plan.finished == pytest.approx(ground, abs=1e-6)


def test_flat_ground_says_that_water_will_stand() -> None:
    where = place()
    plan = grading_plan(np.zeros(where.grid.shape, np.float32), where)
    assert plan.pad.moved_m3 == pytest.approx(0.0, abs=1e-6)
    assert any("almost level" in said for said in plan.warnings)


def test_finished_ground_is_plane_on_the_pad_and_untouched_beyond_the_slopes() -> None:
    where = place(apron_m=1.0)
    ground = rough(where, 3)
    plan = grading_plan(ground, where)
    u, v = distances(where)
    inside = (abs(u) <= where.pad.length_m / 2) & (abs(v) <= where.pad.width_m / 2)
    assert plan.finished[inside] == pytest.approx(plan.plane.height(u, v)[inside])
    centres = shapely.points(*where.grid.centre(*np.mgrid[0 : where.grid.rows, 0 : where.grid.cols]))
    outside = ~shapely.dwithin(centres, plan.outline, where.grid.cell_m)
    assert (plan.finished[outside] == ground[outside]).all()
    ring = ~inside & ~outside
    u_edge, v_edge = np.clip(u, -where.pad.length_m / 2, where.pad.length_m / 2), np.clip(v, -5.5, 5.5)
    drop = abs(plan.finished - plan.plane.height(u_edge, v_edge))
    changed = ring & (plan.finished != ground)
    assert (drop[changed] <= np.hypot(u - u_edge, v - v_edge)[changed] / 3 + 1e-9).all()


def test_volume_between_surfaces_is_the_volume_reported() -> None:
    """Cut less fill of the whole raster against pad and slopes, on cells fine enough to carry the slopes."""
    where = place(rows=241, cols=321, cell_m=0.25)
    ground = rough(where, 5, relief_m=0.6)
    plan = grading_plan(ground, where)
    net = float((ground - plan.finished).sum()) * 0.25**2
    assert plan.cut_m3 - plan.fill_m3 == pytest.approx(net, abs=0.02 * (plan.cut_m3 + plan.fill_m3))


@given(st.integers(0, 500), st.sampled_from(["pad", "none"]))
@settings(max_examples=10, deadline=None)
def test_mirrored_and_turned_ground_moves_as_much_earth(seed: int, balance: str) -> None:
    where, asked = place(rows=121, cols=121), EarthRule(balance=balance, shrink=1.2)
    turned = place(rows=121, cols=121, turned=True)
    ground = rough(where, seed)
    first = grading_plan(ground, where, asked).pad.moved_m3
    for other in (ground[:, ::-1], ground[::-1], ground + 300.0):
        assert grading_plan(np.ascontiguousarray(other), where, asked).pad.moved_m3 == pytest.approx(first, abs=1e-4)
    quarter = np.ascontiguousarray(np.rot90(ground))
    assert grading_plan(quarter, turned, asked).pad.moved_m3 == pytest.approx(first, abs=1e-4)


def test_the_same_farm_in_other_units_of_length() -> None:
    small, large = place(), place(length_m=58.0, width_m=18.0, cell_m=2.0)
    ground = rough(small, 11)
    rule = EarthRule()
    wide = replace(rule, rule=replace(rule.rule, reach_m=60.0), topsoil_m=0.3)
    a, b = grading_plan(ground, small, rule), grading_plan(2 * ground, large, wide)
    for name in ("cut_m3", "fill_m3"):
        assert getattr(b, name) == pytest.approx(8 * getattr(a, name), rel=1e-4)
    assert b.materials.topsoil_stripped_m3 == pytest.approx(8 * a.materials.topsoil_stripped_m3, rel=1e-4)


@pytest.mark.parametrize("seed", [1, 2])
def test_balance_of_pad_and_slopes_together(seed: int) -> None:
    where = place()
    ground = rough(where, seed, relief_m=1.0)
    shrink = 1.25
    whole = grading_plan(ground, where, EarthRule(balance="whole", shrink=shrink))
    assert whole.surplus_m3 == pytest.approx(0.0, abs=0.1)
    pad = grading_plan(ground, where, EarthRule(shrink=shrink))
    assert pad.pad.cut_m3 == pytest.approx(shrink * pad.pad.fill_m3, rel=1e-4)
    free = grading_plan(ground, where, EarthRule(balance="none", shrink=shrink))
    assert free.pad.moved_m3 <= min(pad.pad.moved_m3, whole.pad.moved_m3) + 1e-6


@pytest.mark.parametrize(("fall", "tier"), [(0.007, "smooth"), (0.0098, "shape"), (0.02, "strip")])
def test_what_the_pad_needs_follows_from_what_is_there(fall: float, tier: str) -> None:
    """A pad that falls s along 29 m is cut (s - 1/192) 14.5 m deep: 2.6, 6.7 and 21 cm."""
    plan = grading_plan(tilted(place(), fall, 0.0), place())
    assert plan.tier == tier
    assert (plan.materials.topsoil_stripped_m3 > 0) == (tier == "strip")
    assert grading_plan(tilted(place(), fall, 0.0), place(kind="container")).materials.topsoil_stripped_m3 > 0


def test_topsoil_and_base_of_both_kinds() -> None:
    where, soil = place(), EarthRule(topsoil_m=0.2)
    ground = tilted(where, 0.02, 0.0)
    field = grading_plan(ground, where, soil)
    assert field.materials.topsoil_stripped_m3 == pytest.approx(0.2 * field.outline.area)
    assert field.materials.topsoil_back_m3 == pytest.approx(field.materials.topsoil_stripped_m3)
    assert field.materials.fabric_m2 == field.materials.base_m3 == 0.0
    yard = place(kind="container")
    asked = replace(soil, base_m=0.1, base_loose=1.3)
    pots = grading_plan(ground, yard, asked)
    assert pots.materials.base_m3 == pytest.approx(0.1 * L * W)
    assert pots.materials.base_order_m3 == pytest.approx(0.13 * L * W)
    assert pots.materials.fabric_m2 == pytest.approx(L * W)
    assert pots.materials.topsoil_stripped_m3 - pots.materials.topsoil_back_m3 == pytest.approx(0.2 * L * W)
    # balanced earth under a thinner base than the soil it replaces: the finished pad is lower by the difference
    assert pots.plane.level_m == pytest.approx(field.plane.level_m - 0.1, abs=1e-6)


def test_crown_falls_to_both_sides_and_fits_crowned_ground() -> None:
    where = place(kind="container")
    asked = EarthRule(crown=0.02, topsoil_m=0.0)
    u, v = distances(where)
    ground = 30.0 - 0.02 * abs(v) + 0.003 * u
    plan = grading_plan(ground, where, asked)
    assert plan.pad.moved_m3 == pytest.approx(0.0, abs=1e-3)
    level = grading_plan(np.zeros(where.grid.shape), where, asked)
    side = level.finished_height(np.zeros(3), np.array([-4.0, 0.0, 4.0]))
    assert side[1] - side[[0, 2]] == pytest.approx([0.08, 0.08], abs=1e-6)


def test_apron_falls_away_from_all_four_walls() -> None:
    where = place(apron_m=2.0)
    shape = fixed_shape(
        where.house, EarthRule(apron_fall=0.05), np.array([0, 16.5, 0, 16.5]), np.array([0, 0, 6.5, 6.5])
    )
    assert shape == pytest.approx([0.0, -0.1, -0.1, -0.1])


def test_cut_limit() -> None:
    where = place()
    ground = tilted(where, 0.03, 0.0)
    plan = grading_plan(ground, where, EarthRule(balance="none", deepest_cut_m=0.1))
    assert plan.pad.max_cut_m <= 0.1 + 1e-6
    assert plan.surplus_m3 < 0
    with pytest.raises(UsageError, match="deeper cut"):
        grading_plan(ground, where, EarthRule(deepest_cut_m=0.1))


def test_earth_that_is_missing_or_left_over_is_named_as_such() -> None:
    where = place()
    shallow = grading_plan(tilted(where, 0.03, 0.0), where, EarthRule(balance="none", deepest_cut_m=0.1))
    assert shallow.surplus_m3 < -1.0
    words = " ".join(plan_warnings(shallow))
    assert (
        f"{amounts.volume(-shallow.surplus_m3, feet=False)} of earth are missing" in words and "left over" not in words
    )

    def left(surplus_m3: float) -> str:
        shrink = (shallow.cut_m3 - surplus_m3) / shallow.fill_m3
        return " ".join(plan_warnings(replace(shallow, settings=replace(shallow.settings, shrink=shrink))))

    assert "of earth are left over" in left(2.0) and "are missing" not in left(2.0)
    assert not any(words in left(0.9) + left(-0.9) for words in ("left over", "are missing"))


def test_side_slopes_beyond_the_parcel_are_reported() -> None:
    where = place()
    ground = tilted(where, 0.0, 0.10)
    everywhere = grading_plan(ground, where, None, owned(where.on_grid(shapely.box(-40, -40, 40, 40))))
    assert everywhere.over_parcel_m2 == pytest.approx(0.0)
    only_pad = grading_plan(ground, where, None, owned(where.on_grid(shapely.box(-L / 2, -W / 2, L / 2, W / 2))))
    assert only_pad.over_parcel_m2 == pytest.approx(only_pad.outline.area - L * W, abs=1e-6)
    assert any("NOT BUILDABLE AS DRAWN" in said and "over the parcel's edge" in said for said in only_pad.warnings)
    assert not any("NOT BUILDABLE" in said for said in everywhere.warnings)
    setback = SiteLimits(where.on_grid(shapely.box(-40, -40, 40, 40)), where.on_grid(shapely.box(-16, -6, 16, 6)))
    near = grading_plan(ground, where, None, setback).warnings
    assert any("beyond the open ground" in said for said in near) and not any("NOT BUILDABLE" in said for said in near)


def test_profiles_and_window_show_both_grounds() -> None:
    where = place()
    plan = grading_plan(tilted(where, 0.04, 0.0), where)
    profile = plan.profile()
    assert np.diff(profile.distance_m) == pytest.approx(plan.place.grid.cell_m / 2)
    middle = abs(profile.distance_m) <= L / 2
    assert profile.natural_m == pytest.approx(100 + 0.04 * profile.distance_m)
    assert profile.finished_m[middle] == pytest.approx(plan.plane.height(profile.distance_m[middle], 0.0))
    beyond = abs(profile.distance_m) > L / 2 + plan.sides.toe_m.max()
    assert beyond.any()
    assert profile.finished_m[beyond] == pytest.approx(profile.natural_m[beyond])
    assert plan.profile(across=True).distance_m.max() < profile.distance_m.max()
    near = plan.natural_near(3.0)
    assert near.shape[1] == pytest.approx((L + 2 * 3.0 + 2 * plan.sides.toe_m.max()) / plan.place.grid.cell_m, abs=3)
    assert np.ptp(near) == pytest.approx(0.04 * (near.shape[1] - 1) * plan.place.grid.cell_m)


def test_unknown_ground_under_the_pad_is_refused() -> None:
    where = place()
    ground = np.zeros(where.grid.shape)
    ground[where.row, where.col + 3] = np.nan
    with pytest.raises(InputRefused, match="1 of 261 cells"):
        grading_plan(ground, where)


def test_pads_off_the_data_and_steep_ground_are_refused() -> None:
    where = place()
    with pytest.raises(InputRefused, match="leaves the elevation data"):
        grading_plan(np.zeros(where.grid.shape), replace(where, col=5))
    with pytest.raises(InputRefused, match="still going"):
        grading_plan(tilted(where, 0.0, 0.45), where)
    with pytest.raises(InputRefused, match="one height a cell"):
        grading_plan(np.zeros((5, 5)), where)


@pytest.mark.parametrize(
    "change", [{"balance": "both"}, {"topsoil_m": -0.1}, {"crown": 0.5}, {"base_loose": 0.5}, {"base_m": np.nan}]
)
def test_settings_that_cannot_be_meant(change: dict) -> None:
    with pytest.raises(UsageError):
        EarthRule(**change)


def test_crown_and_base_are_for_container_houses() -> None:
    where = place()
    for asked in (EarthRule(crown=0.02), EarthRule(base_m=0.1)):
        with pytest.raises(UsageError, match="container"):
            grading_plan(np.zeros(where.grid.shape), where, asked)


def test_a_depth_other_than_the_screening_judged_is_said() -> None:
    """A heap in one corner: the least volume cuts it deeper than the least-squares plane, which leans on it; a plain slope has one depth."""
    where = place(rows=61, cols=81)
    assert not any("the screening judged" in said for said in grading_plan(tilted(where, 0.0, 0.01), where).warnings)
    u, v = distances(where)
    plan = grading_plan(100.0 + np.where((u < -10) & (v > 0), 0.3, 0.0), where)
    assert plan.pad.max_cut_m > plan.quick_pad.max_cut_m + 0.01
    [said] = [said for said in plan.warnings if "the screening judged" in said]
    assert amounts.depth(plan.quick_pad.max_cut_m, feet=where.house.feet) in said
