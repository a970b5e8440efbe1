"""Where the rim of a pad is looked at: the points between which no deeper cut can hide."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from tests.plans.places import distances, place, tilted
from tunnelsite.kernels.terrain.blade import blade_ground
from tunnelsite.plans.grading.earth_rule import EarthRule
from tunnelsite.plans.grading.judged_ground import felt_ground, rim_heights, rim_points
from tunnelsite.plans.grading.pad_plane import PadCells


@pytest.mark.parametrize(("length_m", "width_m", "cell_m"), [(29.0, 9.0, 1.0), (10.0, 6.0, 0.5), (12.3, 7.9, 2.0)])
def test_the_rim_is_every_crossing_of_the_pad_s_edge_with_a_line_of_cell_middles(length_m, width_m, cell_m) -> None:
    where = place(length_m=length_m, width_m=width_m, cell_m=cell_m)
    found = set(zip(*(np.round(at, 6).tolist() for at in rim_points(where)), strict=True))
    along, across = length_m / 2, width_m / 2
    lines = [k * cell_m for k in range(-100, 101)]
    expected = {(u, v) for v in lines if abs(v) <= across for u in (-along, along)}
    expected |= {(u, v) for u in lines if abs(u) <= along for v in (-across, across)}
    expected |= {(u, v) for u in (-along, along) for v in (-across, across)}
    assert found == {(round(u, 6), round(v, 6)) for u, v in expected}


def test_heights_of_the_rim_are_the_ground_s() -> None:
    where = place(length_m=12.3, width_m=7.9)
    u, v = rim_points(where)
    assert rim_heights(where, tilted(where, 0.03, -0.02), u, v) == pytest.approx(100.0 + 0.03 * u - 0.02 * v)


@pytest.mark.parametrize(("length_m", "width_m", "cell_m"), [(12.3, 7.9, 1.0), (11.5, 6.5, 1.0), (10.0, 6.0, 0.5)])
def test_cells_within_the_pad_are_those_whose_middle_lies_in_it(length_m, width_m, cell_m) -> None:
    where = place(length_m=length_m, width_m=width_m, cell_m=cell_m)
    cells = PadCells.of(where, EarthRule(), tilted(where, 0.01, 0.0))
    middles = shapely.box(-length_m / 2, -width_m / 2, length_m / 2, width_m / 2).buffer(1e-6)
    assert np.array_equal(cells.within, shapely.contains_xy(middles, cells.u, cells.v))
    assert cells.areas.sum() == pytest.approx(length_m * width_m)


@pytest.mark.parametrize("cell_m", [0.25, 0.5])
def test_the_ground_is_felt_round_the_pad_and_left_alone_far_from_it(cell_m: float) -> None:
    where = place(rows=160, cols=200, length_m=8.0, width_m=5.0, cell_m=cell_m)
    ground = 480.0 + np.random.default_rng(3).normal(0.0, 0.05, where.grid.shape)
    found = felt_ground(ground, where, reach_m=2.0)
    u, v = distances(where)
    near, far = np.maximum(abs(u), abs(v)) <= 6.0, np.maximum(abs(u), abs(v)) > 6.0 + 3 * cell_m
    assert found[near] == pytest.approx(blade_ground(ground - 480.0, cell_m)[near] + 480.0, abs=1e-9)
    assert np.array_equal(found[far], ground[far]) and far.any()
    assert not np.array_equal(found[near], ground[near])
