"""Swales, intercepted land and water sent to neighbours, on ground where the answer is known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog

from tests.plans.places import distances, place, rough, tilted
from tunnelsite.core.errors import InputRefused, UsageError
from tunnelsite.core.units import FOOT_M
from tunnelsite.criteria.water import DRAINAGE, PONDING_DEPTH
from tunnelsite.plans.drainage.channels import VELOCITY_LIMIT_M_S, Section
from tunnelsite.plans.drainage.flow_paths import flow_over, inflows, path_down, path_up
from tunnelsite.plans.drainage.plan import DrainageSettings, drainage_plan
from tunnelsite.plans.drainage.storm import Storm
from tunnelsite.plans.drainage.swale import SwaleArm, SwaleRule, with_swale
from tunnelsite.plans.drainage.swale_choice import QUIET_M2, QUIET_POND_M
from tunnelsite.plans.drainage.water_moved import BorderFlow, border_flow, gains
from tunnelsite.plans.grading.plan import grading_plan
from tunnelsite.plans.site_limits import SiteLimits

SLOPE = 0.05


def hillside(seed: int | None = None):
    """A pad on ground that falls 5 % to the south, a little fan-shaped so that water keeps straight on, or with dips."""
    where = place(rows=141, cols=141)
    ground = tilted(where, 0.0, SLOPE)
    if seed is not None:
        ground = ground + (rough(where, seed) - 50.0) * 0.5
    return where, ground


def test_uphill_land_is_intercepted_and_nothing_enters_the_pad() -> None:
    where, ground = hillside()
    plan = grading_plan(ground, where)
    found = drainage_plan(plan)
    assert found.inflows_before
    assert not found.inflows_after
    assert len(found.arms) == 2
    # Straight down the hill: every column that is dug, from the edge of the data to where it is dug last.
    dug = found.surface < plan.finished - 1e-9
    last = np.where(dug.any(axis=0), where.grid.rows - np.argmax(dug[::-1], axis=0), 0)
    assert found.intercepted_m2 == pytest.approx(last.sum(), rel=0.08)  # cells beside it drain in too
    assert found.intercepted_m2 == pytest.approx(sum(flow.area_m2 for flow in found.outlets), rel=1e-9)


def test_swale_falls_is_deep_enough_and_comes_to_daylight() -> None:
    where, ground = hillside(seed=3)
    plan = grading_plan(ground, where)
    rule = SwaleRule(fall=0.01, depth_m=0.25)
    found = drainage_plan(plan, DrainageSettings(swale=rule))
    assert found.arms
    for arm in found.arms:
        fall = -np.diff(arm.bottom_m) / np.diff(arm.distance_m)
        assert (fall[:-1] >= rule.fall - 1e-9).all()
        assert arm.daylight
        assert arm.bottom_m[-1] == arm.ground_m[-1]
        assert (arm.bottom_m[:-1] < arm.ground_m[:-1]).all()
        assert arm.ground_m[0] - arm.bottom_m[0] == pytest.approx(0.25)
        assert shapely.distance(arm.line, plan.outline) >= rule.clearance_m
        assert arm.volume_m3 > 0


def test_the_neighbours_below_the_outlets_are_named() -> None:
    """Water that came down on a broad front now leaves at two spots; those straight below the pad get less, not more."""
    where, ground = hillside()
    found = drainage_plan(grading_plan(ground, where), DrainageSettings(tolerance_m2=200.0))
    assert len(found.gains) == 2
    columns = sorted(gain.col for gain in found.gains)
    assert columns[0] < where.col - 14
    assert columns[1] > where.col + 14
    assert sum(gain.gain_m2 for gain in found.gains) > 0.8 * found.intercepted_m2 * 0.5
    assert sum("More water leaves" in said for said in found.warnings) == 2
    assert any("permit exemption" in said for said in found.warnings)
    assert found.border_after.area_m2.sum() == pytest.approx(found.border_before.area_m2.sum())


def test_mirrored_hillside_has_a_mirrored_swale() -> None:
    where, ground = hillside()
    u, _ = distances(where)
    ground = ground + 0.01 * u
    plans = [drainage_plan(grading_plan(np.ascontiguousarray(shown), where)) for shown in (ground, ground[:, ::-1])]
    a, b = (np.array(sorted((arm.distance_m[-1], arm.volume_m3) for arm in plan.arms)) for plan in plans)
    assert a[:, 0] == pytest.approx(b[:, 0], abs=1.0)  # arms leave the ring at whole cells
    assert a[:, 1] == pytest.approx(b[:, 1], abs=0.5)
    assert plans[0].intercepted_m2 == pytest.approx(plans[1].intercepted_m2, rel=0.05)


def test_level_and_humped_ground_need_no_swale() -> None:
    where = place(rows=141, cols=141)
    u, v = distances(where)
    for ground in (np.zeros(where.grid.shape), -0.0002 * (u**2 + v**2)):
        found = drainage_plan(grading_plan(ground, where), DrainageSettings(worth_m2=500.0))
        assert found.arms == []
        assert found.intercepted_m2 == 0.0
        assert not any("exemption" in said for said in found.warnings)


def test_without_a_swale_water_still_enters_and_that_is_said() -> None:
    where, ground = hillside()
    found = drainage_plan(grading_plan(ground, where), DrainageSettings(swale=None))
    assert found.arms == []
    assert found.inflows_after
    assert any("still enters the pad" in said for said in found.warnings)


def test_peak_flows_and_channel() -> None:
    where, ground = hillside()
    plan = grading_plan(ground, where)
    storm = Storm(intensity_mm_h=100, curve_number=80, burst_m=0.03, burst_s=600, two_year_rain_m=0.07, roof_mm_h=150)
    found = drainage_plan(plan, DrainageSettings(storm=storm))
    for flow in found.outlets:
        assert flow.rational_m3_s == pytest.approx(0.35 * 0.1 / 3600 * flow.area_m2)
        assert flow.peak_m3_s == max(flow.rational_m3_s, flow.curve_number_m3_s)
        assert flow.concentration_s > 60
        assert flow.steep_velocity_m_s >= flow.velocity_m_s > 0
        assert flow.at_least  # the hill goes on beyond the data
    assert found.roof_peak_m3_s == pytest.approx(29 * 9 * 0.15 / 3600)
    harder = drainage_plan(plan, DrainageSettings(storm=Storm(intensity_mm_h=20_000, coefficient=1.0)))
    assert any(flow.steep_velocity_m_s > VELOCITY_LIMIT_M_S for flow in harder.outlets)
    assert any("5 ft/s" in said for said in harder.warnings)
    assert any("make it larger" in said for said in harder.warnings)
    dry = drainage_plan(plan)
    assert all(flow.peak_m3_s is None for flow in dry.outlets)
    assert any("no rain was given" in said for said in dry.warnings)


def test_drain_runs_round_the_house_off_its_posts() -> None:
    where, ground = hillside()
    found = drainage_plan(grading_plan(ground, where), DrainageSettings(drain_offset_m=2 * FOOT_M))
    house = where.on_grid(shapely.box(-14.5, -4.5, 14.5, 4.5))
    assert found.drain.is_ring
    assert shapely.distance(found.drain, house) == pytest.approx(2 * FOOT_M)
    with pytest.raises(UsageError, match="18 to 24 in"):
        DrainageSettings(drain_offset_m=0.3)


def test_a_swale_that_leaves_the_parcel_is_said() -> None:
    where, ground = hillside()
    plan = grading_plan(ground, where)
    tight = plan.outline.buffer(0.5)
    assert any("neighbour's consent" in said for said in drainage_plan(plan, None, SiteLimits(tight)).warnings)
    wide = plan.outline.buffer(60)
    assert not any("neighbour's consent" in said for said in drainage_plan(plan, None, SiteLimits(wide)).warnings)


def test_unknown_ground_where_the_swale_would_run_is_refused() -> None:
    where, ground = hillside()
    ground[where.row - 9 : where.row - 6, where.col] = np.nan
    with pytest.raises(InputRefused, match="without data"):
        drainage_plan(grading_plan(ground, where))


def test_nothing_changed_nothing_gained() -> None:
    _, ground = hillside(seed=1)
    flow = border_flow(flow_over(ground, 1.0), slice(20, 90), slice(30, 110))
    assert gains(flow, flow, 0.0, 3) == []


def test_water_that_jumps_a_cell_is_the_same_water() -> None:
    _, ground = hillside(seed=1)
    before = border_flow(flow_over(ground, 1.0), slice(20, 90), slice(30, 110))
    n, most = before.area_m2.size, int(np.argmax(before.area_m2))

    def moved_by(cells: int) -> BorderFlow:
        area = before.area_m2.copy()
        area[(most + cells) % n] += area[most]
        area[most] = 0.0
        return BorderFlow(before.row, before.col, area)

    for cells in (-3, 1, 3):
        assert gains(before, moved_by(cells), 0.0, 3) == []
    for cells in (-4, 40, n // 2):
        [found] = gains(before, moved_by(cells), 50.0, 3)
        assert (found.row, found.col) == (before.row[(most + cells) % n], before.col[(most + cells) % n])
        assert found.gain_m2 == pytest.approx(before.area_m2[most])


def test_the_largest_gain_comes_first() -> None:
    still, after = np.zeros(40), np.zeros(40)
    after[[5, 20, 33]] = 100.0, 900.0, 400.0
    cells = np.arange(40)
    found = gains(BorderFlow(cells, cells, still), BorderFlow(cells, cells, after), 50.0, 2)
    assert [one.gain_m2 for one in found] == [900.0, 400.0, 100.0]


@given(st.integers(0, 1000), st.integers(0, 4))
def test_netting_takes_up_as_much_as_a_linear_programme(seed: int, reach: int) -> None:
    numbers = np.random.default_rng(seed)
    n, m = 30, 12
    change = np.zeros(n)
    change[:m] = numbers.integers(-4, 5, m)  # the rest of the round is still
    pairs = [(g, k) for g in range(m) for k in range(m) if change[g] > 0 > change[k] and abs(g - k) <= reach]
    taken = 0.0
    if pairs:
        limits = np.array([[float(i in (g, k)) for g, k in pairs] for i in range(m)])
        taken = -linprog(-np.ones(len(pairs)), A_ub=limits, b_ub=abs(change[:m])).fun
    zero = np.zeros(n, int)
    found = gains(
        BorderFlow(zero, zero, np.maximum(-change, 0)), BorderFlow(zero, zero, np.maximum(change, 0)), 0.0, reach
    )
    assert sum(one.gain_m2 for one in found) == pytest.approx(change[change > 0].sum() - taken)


@given(st.integers(0, 300), st.sampled_from([(12, 28, 14, 33), (0, 28, 0, 33), (12, 41, 14, 45), (0, 41, 0, 45)]))
@settings(max_examples=16, deadline=None)
def test_all_water_of_a_box_leaves_over_its_border_once(seed: int, box: tuple[int, int, int, int]) -> None:
    """Slow reference: every cell that drains through the box, followed cell by cell; the box may end where the data end."""
    where = place(rows=41, cols=45)
    flow = flow_over(rough(where, seed, relief_m=2.0), 1.0)
    top, bottom, left, right = box
    rows, cols = slice(top, bottom), slice(left, right)
    through = 0
    for r in range(41):
        for c in range(45):
            path = path_down(flow.direction, r, c)
            met = (path[:, 0] >= top) & (path[:, 0] < bottom) & (path[:, 1] >= left) & (path[:, 1] < right)
            through += bool(met.any())
    assert border_flow(flow, rows, cols).area_m2.sum() == through


def test_paths_up_and_down_meet() -> None:
    where, ground = hillside(seed=2)
    flow = flow_over(ground, 1.0)
    inside = where.mask_of(where.on_grid(shapely.box(-15, -5, 15, 5)))
    most = inflows(flow, inside, 1.0)[0]
    stem = path_up(flow, most.row, most.col)
    assert path_down(flow.direction, *stem[-1])[: len(stem)].tolist() == stem[::-1].tolist()
    assert flow.area_m2[tuple(stem[-1])] == 1.0
    assert sum(one.area_m2 for one in inflows(flow, inside, 1.0, 30.0)) <= ground.size


@given(st.integers(0, 300))
@settings(max_examples=10, deadline=None)
def test_all_water_that_enters_an_area_is_counted_once(seed: int) -> None:
    """Slow reference: every cell outside whose water runs into the area, followed cell by cell."""
    where = place(rows=41, cols=45)
    flow = flow_over(rough(where, seed, relief_m=2.0), 1.0)
    u, v = distances(where)
    inside = (abs(u) <= 9) & (abs(v) <= 7) & ~((abs(u) <= 4) & (v <= 3))  # a horseshoe: much leaves and comes back
    ways = ((r, c, path_down(flow.direction, r, c)) for r, c in zip(*np.nonzero(~inside), strict=True))
    enter = sum(bool(inside[tuple(way.T)].any()) for _, _, way in ways)
    assert sum(one.area_m2 for one in inflows(flow, inside, 1.0)) == enter


@pytest.mark.parametrize("change", [{"fall": 0.0}, {"depth_m": -1.0}, {"roughness": 0.0}, {"fall": np.nan}])
def test_swales_that_cannot_be_meant(change: dict) -> None:
    with pytest.raises(UsageError):
        SwaleRule(**change)


def test_half_a_storm_is_refused() -> None:
    with pytest.raises(UsageError, match="only part"):
        Storm(curve_number=70)


def test_a_swale_is_dug_from_its_very_start() -> None:
    """A swale narrower than a cell, off the cells' middles: every cell its line crosses lies at its bottom, the first as the last."""
    where = place(rows=41, cols=45)
    along, across = where.grid.centre(20, np.array([10, 20, 30]))
    across = np.broadcast_to(across, 3) + 0.4
    distance, bottom = np.array([0.0, 10.0, 20.0]), np.array([99.7, 99.6, 99.5])
    arm = SwaleArm(along, across, distance, np.full(3, 100.0), bottom, True, 0.0)
    dug = with_swale(np.full((41, 45), 100.0), where, [arm], Section(0.1, 0.0))
    assert [dug[20, col] for col in (10, 20, 30)] == pytest.approx([99.695, 99.595, 99.5], abs=0.006)
    assert (np.diff(dug[20, 10:31]) < 0).all() and dug[19, 20] == dug[21, 20] == dug[20, 9] == 100.0


@pytest.mark.parametrize(("fall", "works"), [(0.002, False), (0.06, True)])
def test_a_pad_that_is_smoothed_in_place_asks_for_no_drain_and_no_swale(fall: float, works: bool) -> None:
    """Nearly level ground is left as it lies; a slope that has to be cut gets its drain."""
    ground = 100.0 - fall * np.arange(101.0)[:, None] + np.zeros((101, 101))
    plan = grading_plan(ground, place(rows=101, cols=101))
    found = drainage_plan(plan)
    assert (plan.tier != "smooth") is works and (found.drain is not None) is works
    if not works:
        assert found.arms == [] and "smoothed in place" in found.said[0]


@pytest.mark.parametrize(("uphill_m", "works"), [(10, False), (80, True)])
def test_a_smoothed_pad_gets_its_drain_where_water_asks_for_it(uphill_m: int, works: bool) -> None:
    """A funnel of 0.2 % sheds to one spot of the pad: less land than earns full marks asks for nothing, more gets the drain."""
    where = place(rows=221, cols=221)
    u, v = distances(where)
    above = np.clip(v - 6.0, 0.0, uphill_m)
    ground = 100.0 + 0.002 * v + 0.002 * np.abs(u) * (above > 0)
    ground[v > 6.0 + uphill_m] -= 1.0  # the land beyond drains away
    plan = grading_plan(ground, where)
    found = drainage_plan(plan)
    assert plan.tier == "smooth"
    assert (found.inflows_before[0].area_m2 >= QUIET_M2) is works and (found.drain is not None) is works


@pytest.mark.parametrize(("deep_m", "works"), [(0.08, False), (0.14, True)])
def test_a_smoothed_pad_in_a_hollow_gets_its_drain(deep_m: float, works: bool) -> None:
    """A wide bowl of gentle sides: the pad in it is only smoothed and hardly any land sheds water to it, but water stands there."""
    where = place(rows=121, cols=121)
    u, v = distances(where)
    ground = 100 - 1e-4 * np.hypot(u, v) + deep_m * (np.clip(np.hypot(u, v) / 9.0, 0.0, 1.0) - 1.0)
    plan = grading_plan(ground, where)
    calm = replace(
        plan,
        pad=replace(plan.pad, max_cut_m=0.0, max_fill_m=0.0),
        slopes=replace(plan.slopes, max_cut_m=0.0, max_fill_m=0.0),
    )
    assert calm.tier == "smooth"
    assert (drainage_plan(calm).drain is not None) is works


def test_full_marks_for_water_and_a_quiet_pad_are_one_number() -> None:
    assert PONDING_DEPTH.rubrics["any"].full_at == QUIET_POND_M
    assert DRAINAGE.rubrics["any"].full_at == QUIET_M2
