"""Posts, batter boards, 3-4-5 and bench mark; the stakes that were there before keep their places."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tunnelsite.core import stakes as staking
from tunnelsite.core.errors import UsageError
from tunnelsite.core.units import FOOT_M, feet_inches

HOUSE = (96 * FOOT_M, 30 * FOOT_M)
PAD = (HOUSE[0] + 3, HOUSE[1] + 3)
EAST_WEST = ("W", "E", "N", "S")


def test_posts_of_a_96_foot_house_stand_every_4_feet() -> None:
    found, spacing = staking.posts(HOUSE, EAST_WEST)
    assert spacing == pytest.approx(4 * FOOT_M, abs=1e-12)
    assert len(found) == 2 * 25
    assert {post.v_m for post in found} == {HOUSE[1] / 2, -HOUSE[1] / 2}
    assert found[0].label == "N post 1" and found[0].u_m == pytest.approx(-HOUSE[0] / 2)
    assert found[-1].label == "S post 25" and found[-1].u_m == pytest.approx(HOUSE[0] / 2)


@given(st.floats(5, 200), st.floats(0.5, 4.9))
def test_posts_are_equal_and_never_wider_than_asked(length: float, wanted: float) -> None:
    found, spacing = staking.posts((length, 5.0), EAST_WEST, wanted)
    north = [post.u_m for post in found if post.label.startswith("N")]
    steps = [b - a for a, b in itertools.pairwise(north)]
    assert steps == pytest.approx([spacing] * len(steps), rel=1e-9)
    assert spacing <= wanted * (1 + 1e-6)
    assert length / spacing <= math.ceil(length / wanted) + 1e-6  # and no post more than needed


@pytest.mark.parametrize("spacing", [0.0, -1.0, 0.1, 1000.0, math.nan, math.inf])
def test_impossible_spacing_is_refused(spacing: float) -> None:
    with pytest.raises(UsageError, match="post spacing"):
        staking.posts(HOUSE, EAST_WEST, spacing)


def test_strings_over_the_batter_boards_cross_at_the_corners() -> None:
    boards = staking.batter_boards(HOUSE, PAD, EAST_WEST)
    corners = {(stake.u_m, stake.v_m) for stake in staking.stakes(HOUSE, PAD, EAST_WEST) if stake.kind == "corner"}
    side = {board.v_m for board in boards if board.label.endswith("side string")}
    end = {board.u_m for board in boards if board.label.endswith("end string")}
    assert set(itertools.product(end, side)) == corners
    assert len(boards) == 8
    for board in boards:  # off the pad, beyond the offset stakes
        outside = max(abs(board.u_m) - PAD[0] / 2, abs(board.v_m) - PAD[1] / 2)
        assert outside == pytest.approx(staking.BOARD_M)
        assert outside > staking.OFFSET_M
    with pytest.raises(UsageError, match="batter boards"):
        staking.batter_boards(HOUSE, PAD, EAST_WEST, beyond_m=staking.OFFSET_M)


def test_the_3_4_5_of_a_30_by_96_house_is_30_40_50_feet() -> None:
    found = staking.right_angle(HOUSE, EAST_WEST)
    legs = [value / FOOT_M for value in (found.across_m, found.along_m, found.hypotenuse_m)]
    assert legs == pytest.approx([30, 40, 50])
    assert found.corner == "SW"


@given(st.floats(1, 60), st.floats(1, 4), st.sampled_from([1.0, FOOT_M]))
def test_a_3_4_5_is_a_right_angle_that_fits(width: float, ratio: float, unit: float) -> None:
    found = staking.right_angle((width * ratio, width), EAST_WEST, unit)
    assert math.hypot(found.along_m, found.across_m) == pytest.approx(found.hypotenuse_m, rel=1e-12)
    assert 0 < found.along_m <= width * ratio + 1e-6 and 0 < found.across_m <= width + 1e-6
    one, other = found.stakes
    assert math.hypot(one.u_m - other.u_m, one.v_m - other.v_m) == pytest.approx(found.hypotenuse_m)
    k = found.along_m / 4 / unit
    assert k == pytest.approx(round(k)) if k > 0.99 else k * 10 == pytest.approx(round(k * 10))


def test_bench_mark_stands_off_the_work() -> None:
    mark = staking.bench_mark(PAD)
    assert mark.kind == "bench" and mark.v_m > PAD[1] / 2 + staking.BOARD_M


@pytest.mark.parametrize("bearing", [0, 22, 45, 90, 120, 179, 271])
def test_labels_are_unique_for_every_bearing_and_size(bearing: float) -> None:
    ends = staking.end_words(bearing)
    for length, width in (HOUSE, (200.0, 100.0)):
        pad = (length + 3, width + 3)
        found = [
            *staking.stakes((length, width), pad, ends),
            *staking.posts((length, width), ends)[0],
            *staking.batter_boards((length, width), pad, ends),
            *staking.right_angle((length, width), ends).stakes,
            staking.bench_mark(pad),
        ]
        assert len({stake.label for stake in found}) == len(found)


def test_corners_of_a_north_south_house_have_plain_names() -> None:
    found = staking.stakes(HOUSE, PAD, staking.end_words(0))
    assert [stake.label for stake in found if stake.kind == "corner"] == ["NW", "NE", "SE", "SW"]


@pytest.mark.parametrize(
    ("value_ft", "words"),
    [
        (100.578327, "100 ft 6 15/16 in"),  # diagonal of 30 x 96 ft, derived
        (0.0, "0 in"),
        (1 / 12 / 16, "1/16 in"),
        (11.999 / 12, "1 ft"),  # rounds up over the foot
        (-2.5, "-2 ft 6 in"),
        (5 + 0.5 / 12, "5 ft 1/2 in"),
        (-1e-6, "0 in"),
    ],
)
def test_feet_and_inches_as_on_a_tape(value_ft: float, words: str) -> None:
    assert feet_inches(value_ft * FOOT_M) == words


def test_grid_of_levels_reaches_the_pads_edges_about_every_three_metres() -> None:
    found = staking._grid((12.0, 6.0))
    assert [stake.label for stake in found] == [f"{row}{col}" for row in "ABC" for col in range(1, 6)]
    assert sorted({stake.u_m for stake in found}) == [-6.0, -3.0, 0.0, 3.0, 6.0]
    assert [found[k].v_m for k in (0, 5, 10)] == [3.0, 0.0, -3.0]
    assert len(staking._grid((1.0, 1.0))) == 4


def test_heights_between_cells_reach_the_last_row_and_no_farther() -> None:
    ground = np.arange(20.0).reshape(4, 5)
    rows, cols = np.array([0.0, 3.0, 2.5, 3.0, 3.01, -0.01, 1.0]), np.array([0.0, 4.0, 3.25, 0.5, 1.0, 1.0, 4.01])
    found = staking.heights_at(ground, rows, cols)
    assert found[:4] == pytest.approx([0.0, 19.0, 2.5 * 5 + 3.25, 15.5]) and np.isnan(found[4:]).all()
