"""Trenches: shortest against the truth, round keep-outs, and bounds that hold."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.sparse import csgraph

from tunnelsite.core.errors import InputRefused, UsageError
from tunnelsite.plans.layout import trench
from tunnelsite.plans.layout.trench import ELONGATION, TrenchGround, trenches


def _at(shape: tuple[int, int], *cells: tuple[int, int]) -> np.ndarray:
    mask = np.zeros(shape, bool)
    for cell in cells:
        mask[cell] = True
    return mask


def _one(free: np.ndarray, start: tuple[int, int], end: tuple[int, int], cell_m: float = 1.0, **more):
    ground = TrenchGround(free, cell_m, **more)
    return trenches(ground, _at(free.shape, start), {"water": _at(free.shape, end)})[0]


@given(st.integers(0, 24), st.integers(0, 24), st.integers(0, 24), st.integers(0, 24), st.sampled_from([8, 16]))
@settings(deadline=None, max_examples=60)
def test_over_open_ground_the_trench_is_straight(r: int, c: int, to_r: int, to_c: int, steps: int) -> None:
    found = _one(np.ones((25, 25), bool), (r, c), (to_r, to_c), 2.0, steps=steps)
    assert found.length_m == pytest.approx(2 * math.hypot(to_r - r, to_c - c), abs=1e-9)
    assert found.shortest_m == pytest.approx(found.length_m) and found.bends == 0


@pytest.mark.parametrize("steps", [8, 16])
def test_elongation_is_the_worst_of_all_directions(steps: int) -> None:
    size = 401
    ground = TrenchGround(np.ones((size // 2 + 1, size // 2 + 1), bool), 1.0, steps=steps)
    cost = csgraph.dijkstra(trench.step_graph(ground), indices=0).reshape(ground.free.shape)
    rows, cols = np.indices(cost.shape)
    straight = np.hypot(rows, cols)
    ratio = cost[1:, 1:] / straight[1:, 1:]
    assert ratio.max() <= ELONGATION[steps] + 1e-9
    assert ratio.max() == pytest.approx(ELONGATION[steps], abs=2e-4)
    # Derived: 1/cos(22.5 deg) = 1.0824; 1/cos(13.28 deg) = 1.0275.
    assert ELONGATION[steps] == pytest.approx({8: 1.0824, 16: 1.0275}[steps], abs=5e-5)


def _true_shortest(free: np.ndarray, start: tuple[int, int], end: tuple[int, int]) -> float:
    """Reference: visibility graph over the corners of the keep-out cells, exact in the continuum."""
    blocks = shapely.union_all([shapely.box(c - 0.5, r - 0.5, c + 0.5, r + 0.5) for r, c in np.argwhere(~free)])
    area = shapely.box(-0.5, -0.5, free.shape[1] - 0.5, free.shape[0] - 0.5)
    shrunk = shapely.buffer(blocks, -1e-7, join_style="mitre")
    nodes = [(start[1], start[0]), (end[1], end[0]), *map(tuple, shapely.get_coordinates(blocks))]
    nodes = [node for node in nodes if shapely.intersects_xy(area, *node)]
    weights = np.zeros((len(nodes), len(nodes)))
    for i, j in itertools.combinations(range(len(nodes)), 2):
        line = shapely.linestrings([nodes[i], nodes[j]])
        if shapely.length(line) > 0 and not shapely.intersects(line, shrunk):
            weights[i, j] = weights[j, i] = shapely.length(line)
    return float(csgraph.dijkstra(weights, indices=0)[1])


@given(st.integers(0, 10**6), st.sampled_from([8, 16]))
@settings(deadline=None, max_examples=25)
def test_round_keep_outs_the_bounds_hold_the_truth(seed: int, steps: int) -> None:
    rng = np.random.default_rng(seed)
    free = np.ones((30, 30), bool)
    for _ in range(3):
        r, c = rng.integers(3, 22, 2)
        free[r : r + rng.integers(2, 6), c : c + rng.integers(2, 6)] = False
    found = _one(free, (0, 0), (29, 29), steps=steps)
    true = _true_shortest(free, (0, 0), (29, 29))
    assert found.shortest_m - 1e-6 <= true <= found.length_m + 1e-6
    assert found.length_m <= true * ELONGATION[steps] + 1.5 * (found.bends + 1)
    # The way drawn touches no keep-out.
    way = shapely.linestrings(np.column_stack([found.cols, found.rows]))
    for r, c in np.argwhere(~free):
        assert not shapely.intersects(way, shapely.box(c - 0.499, r - 0.499, c + 0.499, r + 0.499))


def test_a_wall_with_a_gap_is_passed_through_the_gap_and_never_cut_at_a_corner() -> None:
    free = np.ones((11, 11), bool)
    free[5, :] = False
    free[5, 8] = True
    found = _one(free, (0, 0), (10, 0))
    assert (5 in found.rows.tolist() and 8 in found.cols.tolist()) or found.length_m > math.hypot(5, 8) * 2 - 0.01
    diagonal = np.ones((4, 4), bool)
    diagonal[[0, 1, 2, 3], [3, 2, 1, 0]] = False  # cells that touch at corners only: no way through
    shut = _one(diagonal, (0, 0), (3, 3))
    assert math.isnan(shut.length_m) and "shut it off" in shut.note and len(shut.rows) == 0


def test_dear_ground_is_gone_round_when_that_is_cheaper() -> None:
    free, burden = np.ones((41, 41), bool), np.ones((41, 41))
    burden[10:31, 18:23] = 50.0
    found = _one(free, (20, 2), (20, 38), burden=burden)
    assert found.bends >= 2 and found.length_m > 36.5
    assert found.burdened_m < 36 + 5 * 49  # straight through
    assert found.burdened_m == pytest.approx(found.length_m, rel=0.03)
    cheap = _one(free, (20, 2), (20, 38), burden=np.where(burden > 1, 1.01, 1.0))
    assert cheap.length_m == pytest.approx(36, abs=0.01)


def test_an_easy_lane_is_not_straightened_away() -> None:
    free, burden = np.ones((30, 30), bool), np.full((30, 30), 10.0)
    burden[0, :], burden[:, 29] = 1.0, 1.0
    found = _one(free, (0, 0), (29, 29), burden=burden)
    assert (
        found.length_m == pytest.approx(58, abs=0.6) and found.burdened_m < 62
    )  # the corner may be cut by one diagonal


def test_each_service_gets_its_own_trench_and_the_users_price() -> None:
    free = np.ones((10, 20), bool)
    ground, house = TrenchGround(free, 2.0), _at(free.shape, *[(5, c) for c in range(5)])
    services = {
        "water": _at(free.shape, (5, 14), (0, 19)),
        "power": _at(free.shape, (0, 2)),
        "gas": np.zeros(free.shape, bool),
    }
    water, power, gas = trenches(ground, house, services, {"water": 12.5})
    assert water.length_m == pytest.approx(20) and water.cost == pytest.approx(250)
    assert power.length_m == pytest.approx(10) and power.cost is None
    assert math.isnan(gas.length_m) and "no free cell" in gas.note
    assert (water.rows[0], water.cols[0]) == (5, 4)  # from the nearest part of the wall


def test_what_cannot_be_meant_is_refused() -> None:
    free = np.ones((5, 5), bool)
    house, water = _at(free.shape, (0, 0)), {"water": _at(free.shape, (4, 4))}
    for price in ({"water": -1.0}, {"water": math.nan}, {"fuel": 1.0}):
        with pytest.raises(UsageError, match="costs"):
            trenches(TrenchGround(free, 1.0), house, water, price)
    with pytest.raises(InputRefused, match="wall"):
        trenches(TrenchGround(~house, 1.0), house, water)
    for wrong in (
        {"cell_m": 0.0},
        {"steps": 4},
        {"burden": np.zeros((5, 5))},
        {"burden": np.ones((2, 2))},
        {"free": free.astype(float)},
    ):
        with pytest.raises(UsageError):
            TrenchGround(**({"free": free, "cell_m": 1.0} | wrong))
