"""Volumes against closed forms and a slow reference."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tunnelsite.siteplan.volumes import end_area_volume, grid_corner_volume, prism_volumes, prismoidal_volume


def test_prismoid_is_exact_for_a_frustum_of_a_cone() -> None:
    r1, r2, length = 3.0, 1.0, 5.0
    areas = [math.pi * r**2 for r in (r1, r2)]
    exact = math.pi * length / 3 * (r1**2 + r1 * r2 + r2**2)
    assert prismoidal_volume(areas, [math.pi * 4], length) == pytest.approx(exact, rel=1e-12)
    assert end_area_volume(areas, length) > exact


@given(st.lists(st.floats(0, 100), min_size=2, max_size=8), st.floats(0.1, 50))
def test_end_areas_do_not_depend_on_the_direction(areas: list[float], spacing: float) -> None:
    assert end_area_volume(areas, spacing) == pytest.approx(end_area_volume(areas[::-1], spacing), rel=1e-9, abs=1e-9)


@given(st.integers(0, 1000))
def test_grid_corners_against_cell_by_cell(seed: int) -> None:
    numbers = np.random.default_rng(seed)
    rows, cols = numbers.integers(1, 6, 2)
    depths, cells = numbers.normal(size=(rows + 1, cols + 1)), numbers.random((rows, cols)) < 0.7
    slow = sum(depths[r : r + 2, c : c + 2].mean() * 2.5 for r in range(rows) for c in range(cols) if cells[r, c])
    depths[~_touched(cells)] = np.nan  # corners out of use need no level
    assert grid_corner_volume(depths, 2.5, cells) == pytest.approx(slow, abs=1e-12)


def test_grid_corners_of_a_plane_are_exact() -> None:
    v, u = np.mgrid[0:5, 0:9].astype(float)
    assert grid_corner_volume(1 + 0.25 * u + 0.5 * v, 4.0) == pytest.approx((1 + 0.25 * 4 + 0.5 * 2) * 4 * 8 * 4.0)


def test_prisms_keep_cut_and_fill_apart() -> None:
    assert prism_volumes([[1.0, -2.0], [0.0, 0.5]], 3.0) == (4.5, 6.0)


@pytest.mark.parametrize(
    "call",
    [
        lambda: end_area_volume([1.0], 1.0),
        lambda: end_area_volume([1.0, -1.0], 1.0),
        lambda: end_area_volume([1.0, math.nan], 1.0),
        lambda: end_area_volume([1.0, 1.0], 0.0),
        lambda: prismoidal_volume([1.0, 1.0], [1.0, 1.0], 1.0),
        lambda: grid_corner_volume([[1.0, 2.0]], 1.0),
        lambda: grid_corner_volume([[1.0, math.nan], [1.0, 1.0]], 1.0),
        lambda: grid_corner_volume(np.ones((3, 3)), -1.0),
    ],
)
def test_amounts_that_cannot_be_meant(call) -> None:
    with pytest.raises(ValueError, match=r"expected|measure"):
        call()


def _touched(cells: np.ndarray) -> np.ndarray:
    touched = np.zeros((cells.shape[0] + 1, cells.shape[1] + 1), bool)
    for r, c in zip(*np.nonzero(cells), strict=True):
        touched[r : r + 2, c : c + 2] = True
    return touched
