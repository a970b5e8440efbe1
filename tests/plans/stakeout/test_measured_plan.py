"""The plan from measured heights and the as-built check."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tunnelsite.core.errors import InputRefused, UsageError
from tunnelsite.core.stakes import Stake, stakes
from tunnelsite.core.units import FOOT_M
from tunnelsite.plans.stakeout.level_book import parse_level_book, reduce_level_book
from tunnelsite.plans.stakeout.measured_plan import (
    FINISHED_SLOPE,
    READING_SD_M,
    MeasuredStakes,
    check_as_built,
    fitted_plane,
    joined,
    measured_plan,
    nearest_areas_m2,
)

HOUSE = (96 * FOOT_M, 30 * FOOT_M)
PAD = (HOUSE[0] + 3, HOUSE[1] + 3)
STAKES = stakes(HOUSE, PAD, ("W", "E", "N", "S"))
GRID = [stake for stake in STAKES if stake.kind == "grid"]
U, V = np.array([stake.u_m for stake in GRID]), np.array([stake.v_m for stake in GRID])


def _measured(height_m: np.ndarray) -> MeasuredStakes:
    return MeasuredStakes(tuple(GRID), height_m, (), ())


def test_readings_find_their_stakes_by_label() -> None:
    found = joined({"ne": 1.0, " A1": 2.0, "BM": 3.0, "TP1": 4.0, "NE  offset along": 5.0}, STAKES)
    assert [stake.label for stake in found.stakes] == ["NE", "NE offset along", "A1"]
    assert found.height_m.tolist() == [1.0, 5.0, 2.0]
    assert found.unused == ("BM", "TP1")
    assert len(found.open) == len(STAKES) - 3


def test_names_that_cannot_be_told_apart_are_refused() -> None:
    with pytest.raises(InputRefused, match="same name"):
        joined({"A1": 1.0, "a1 ": 2.0}, STAKES)
    with pytest.raises(InputRefused, match="is a stake"):
        joined({"foo": 1.0}, STAKES)


@given(st.floats(-0.1, 0.1), st.floats(-0.1, 0.1), st.floats(-100, 3000))
def test_an_exact_plane_comes_back(along: float, across: float, level: float) -> None:
    found = fitted_plane(U, V, level + along * U + across * V)
    assert (found.slope_along, found.slope_across) == pytest.approx((along, across), abs=1e-9)
    assert found.level_m == pytest.approx(level, abs=1e-9)
    # The instrument still errs, however well the points fit.
    assert found.se_along == pytest.approx(READING_SD_M / math.sqrt(((U - U.mean()) ** 2).sum()))


def test_standard_errors_are_those_of_repeated_levelling() -> None:
    rng, sd = np.random.default_rng(5), 0.01
    slopes, errors = [], []
    for _ in range(2000):
        plane = fitted_plane(U, V, 0.003 * U - 0.001 * V + rng.normal(0, sd, len(U)))
        slopes.append((plane.slope_along, plane.slope_across))
        errors.append((plane.se_along, plane.se_across))
    assert np.std(slopes, axis=0) == pytest.approx(np.mean(errors, axis=0), rel=0.06)


@pytest.mark.parametrize(
    ("u", "v", "z"),
    [
        ([0, 1], [0, 1], [0, 0]),
        ([0, 1, 2, 3], [0, 1, 2, 3], [0, 0, 0, 0]),
        ([0, 0, 0], [0, 0, 0], [1, 2, 3]),
        ([0, 1, 0], [0, 0, 1], [0, math.nan, 1]),
        ([], [], []),
    ],
)
def test_points_that_fix_no_plane_are_refused(u: list, v: list, z: list) -> None:
    with pytest.raises(InputRefused):
        fitted_plane(np.array(u, float), np.array(v, float), np.array(z, float))


def test_nearest_areas_are_the_grid_rule() -> None:
    # V = (A/4)(S1 + 2 S2 + 3 S3 + 4 S4): on a full grid corners stand for a quarter cell, edges for a half [@grid-volume].
    areas = nearest_areas_m2(U, V, PAD)
    cell = PAD[0] / (len(np.unique(U)) - 1) * PAD[1] / (len(np.unique(V)) - 1)
    edge_u, edge_v = np.isclose(np.abs(U), PAD[0] / 2), np.isclose(np.abs(V), PAD[1] / 2)
    assert areas == pytest.approx(cell / (2.0**edge_u * 2.0**edge_v), rel=1e-9)
    assert areas.sum() == pytest.approx(PAD[0] * PAD[1])


def test_points_that_coincide_share_their_area() -> None:
    u, v = np.array([-5.0, -5.0, 5.0]), np.array([0.0, 0.0, 0.0])
    assert nearest_areas_m2(u, v, (20.0, 10.0)) == pytest.approx([50, 50, 100])
    assert nearest_areas_m2(u[:2], v[:2], (20.0, 10.0)) == pytest.approx([100, 100])


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10**6), st.sampled_from([0.8, 1.0, 1.2, 1.5]), st.floats(0, 0.05))
def test_cut_makes_up_the_fill(seed: int, shrink: float, rough: float) -> None:
    rng = np.random.default_rng(seed)
    height = 400 + 0.02 * U - 0.01 * V + rng.normal(0, rough, len(U))
    plan = measured_plan(_measured(height), PAD, shrink=shrink)
    assert plan.cut_m3 == pytest.approx(shrink * plan.fill_m3, abs=1e-6)
    assert abs(plan.design.slope_along) <= FINISHED_SLOPE and abs(plan.design.slope_across) <= FINISHED_SLOPE
    assert plan.cut_m == pytest.approx(height - plan.design.height(U, V))


def test_ground_within_tolerance_needs_no_earth_moved() -> None:
    plan = measured_plan(_measured(400 + 0.004 * U - 0.003 * V), PAD)
    assert plan.cut_m3 == pytest.approx(0, abs=1e-9) and np.abs(plan.cut_m).max() < 1e-9


def test_stakes_off_the_pad_do_not_steer_the_plan() -> None:
    more = (*GRID, Stake("offset", "far", PAD[0], 0.0))
    height = np.append(400 + 0.01 * U, 500.0)
    plan = measured_plan(MeasuredStakes(more, height, (), ()), PAD)
    assert np.isnan(plan.cut_m[-1]) and plan.area_m2[-1] == 0
    assert plan.natural.slope_along == pytest.approx(0.01)


def test_settings_that_cannot_be_meant_are_refused() -> None:
    for wrong in ({"max_slope": -1.0}, {"shrink": 0.0}, {"shrink": math.nan}):
        with pytest.raises(UsageError):
            measured_plan(_measured(U), PAD, **wrong)


@pytest.mark.parametrize(
    ("along", "across", "states"),
    [
        (0.0, 0.001, ("within", "within")),
        (0.02, -0.02, ("over", "over")),
        (-FINISHED_SLOPE, FINISHED_SLOPE, ("undecided", "undecided")),
        (0.0, 0.01, ("within", "over")),
    ],
)
def test_verdicts_on_the_finished_pad(along: float, across: float, states: tuple[str, str]) -> None:
    found = check_as_built(fitted_plane(U, V, along * U + across * V), PAD)
    assert tuple(check.state for check in found) == states
    assert "along the ridge" in found[0].words and "across the ridge" in found[1].words
    for check, slope, side in zip(found, (along, across), PAD, strict=True):
        fall = abs(slope) * side
        assert f"{1000 * fall:.0f} mm ({fall / 0.0254:.1f} in) over {side:.1f} m" in check.words
    assert "0.521 %" in found[0].words  # 3/4 in per 12 ft (common practice, no source)


def test_verdicts_are_wrong_no_more_often_than_they_say() -> None:
    """A pad just over the tolerance is called within in at most about 5 % of levellings, with few points as with
    many."""
    rng = np.random.default_rng(11)
    for count in (6, len(U)):
        pick = np.linspace(0, len(U) - 1, count).astype(int)
        wrong = 0
        for _ in range(1500):
            height = FINISHED_SLOPE * 1.0001 * V[pick] + rng.normal(0, 0.004, count)
            wrong += check_as_built(fitted_plane(U[pick], V[pick], height), PAD)[1].state == "within"
        assert wrong / 1500 < 0.065


def test_from_the_book_to_the_plan() -> None:
    lines = ["station,backsight,intermediate,foresight", "BM,2.000,,"]
    lines += [f"{stake.label},,{1.5 - 0.01 * stake.u_m - 0.002 * stake.v_m:.4f}," for stake in GRID]
    run = reduce_level_book(parse_level_book("\n".join([*lines, "BM,,,2.001"])), {"BM": 100.0})
    plan = measured_plan(joined(run.heights_m(), STAKES), PAD)
    assert run.closes
    assert plan.natural.slope_along == pytest.approx(0.01, abs=1e-5)
    assert plan.design.slope_along == pytest.approx(FINISHED_SLOPE)
    assert plan.design.slope_across == pytest.approx(0.002, abs=1e-5)
    assert plan.cut_m3 == pytest.approx(plan.fill_m3) and plan.cut_m3 > 5


def test_readings_at_one_spot_share_the_whole_pad() -> None:
    from tunnelsite.plans.stakeout.measured_plan import nearest_areas_m2

    found = nearest_areas_m2(np.array([1.0, 1.0]), np.array([2.0, 2.0]), (10.0, 4.0))
    assert found.tolist() == [20.0, 20.0]
