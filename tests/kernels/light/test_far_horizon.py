"""Far horizons brought from coarse cells to fine ones: closed form, the exact ray, and what must never happen."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tunnelsite.kernels.light.far_horizon import far_view, raise_to_far
from tunnelsite.kernels.light.horizon import Rays, earth_drop_per_m, horizon_profile, horizon_tangent
from tunnelsite.kernels.light.horizon_share import folded_share, sector_tables

FINE, COARSE = 4.0, 40.0
EARTH = Rays(drop_per_m=earth_drop_per_m())


def seen_far(far, eye, azimuth, corner_m, coarse=COARSE, rays=EARTH):
    tangent = np.zeros(eye.shape, np.float32)
    view = far_view(far, eye, (FINE, coarse), corner_m, np.array([azimuth]), rays)
    raise_to_far(view, eye)(0, tangent)
    return tangent


@pytest.mark.parametrize("azimuth", [0.0, 20.0, -35.0])
def test_a_long_ridge_in_closed_form(azimuth):
    """A ridge 5 km north, seen over uneven ground: (top - eye) / d - drop d with d = distance across / cos(azimuth)."""
    far = np.full((340, 340), 0.0, np.float32)
    ridge_row, first = 40, (165 * COARSE, 160 * COARSE)  # the fine grid's corner, south and east of the coarse one's
    far[ridge_row] = 900.0
    rng = np.random.default_rng(2)
    eye = (60 * rng.random((50, 60)) + np.linspace(0, 40, 60)).astype(np.float32)
    found = seen_far(far, eye, azimuth, first)
    north = first[0] + (np.arange(50)[:, None] + 0.5) * FINE - (ridge_row + 0.5) * COARSE
    away = north / math.cos(math.radians(azimuth))
    expected = (900.0 - eye) / away - EARTH.drop_per_m * away
    assert 4900 < north.min() < north.max() < 5300
    assert np.abs(found - expected).max() < 2e-5  # 0.001 deg


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000), st.floats(0, 360), st.floats(0, 120))
def test_never_below_the_exact_ray_and_hardly_above(seed, azimuth, spread):
    """Fine cells whose centres are coarse centres: the exact ray from there is the reference, whatever the eye's height."""
    rng = np.random.default_rng(seed)
    far = (200 * rng.random((60, 60))).astype(np.float32)
    far[25:35, 25:35] = np.nan  # where the fine grid knows better
    ratio = 5
    eye = (spread * rng.random((6 * ratio, 6 * ratio))).astype(np.float32)
    corner = (27 * FINE * ratio, 27 * FINE * ratio)
    found = seen_far(far, eye, azimuth, corner, FINE * ratio)
    for i in range(6):
        for j in range(6):
            r, c = i * ratio + 2, j * ratio + 2
            at = (27 + i, 27 + j)
            exact = horizon_profile(far, *at, float(eye[r, c]), FINE * ratio, np.array([azimuth]), EARTH)
            tangent = math.tan(math.radians(float(np.nan_to_num(exact.horizon_deg[0]))))
            assert found[r, c] >= tangent - 1e-5
            # a chord over eyes within `spread` of lines as steep as 1 / distance (a cell at least) lies at most so far above
            assert found[r, c] <= tangent + spread / (4 * FINE * ratio) + 1e-5


def test_cells_without_an_eye_are_left_alone_and_nothing_is_lowered():
    far = np.full((60, 60), 50.0, np.float32)
    far[10] = 400.0
    eye = np.zeros((40, 40), np.float32)
    eye[5, 7] = np.nan
    tangent = np.full((40, 40), 5.0, np.float32)
    view = far_view(far, eye, (FINE, COARSE), (1200.0, 1200.0), np.array([0.0]), EARTH)
    raise_to_far(view, eye)(0, tangent)
    assert (tangent == 5.0).all()
    tangent[:] = 0.0
    raise_to_far(view, eye)(0, tangent)
    assert tangent[5, 7] == 0.0 and (tangent[eye == 0] > 0.2).all()


def test_a_coarse_grid_that_does_not_cover_the_fine_one_is_refused():
    with pytest.raises(ValueError, match="does not cover"):
        far_view(np.zeros((20, 20)), np.zeros((50, 50)), (FINE, COARSE), (0.0, 400.0), np.array([0.0]))


def test_folding_with_far_land_is_folding_the_higher_of_both():
    rng = np.random.default_rng(4)
    near = (20 * rng.random((60, 70))).astype(np.float32)
    eye = near + 1
    far = (300 * rng.random((80, 80))).astype(np.float32)
    far[36:46, 36:46] = np.nan
    azimuths = np.arange(0, 360, 30.0)
    suns = rng.uniform([0, 1], [360, 60], (300, 2)).T
    tables = sector_tables(*suns, np.ones(300), azimuths)
    view = far_view(far, eye, (FINE, COARSE), (37.3 * COARSE, 37.8 * COARSE), azimuths, EARTH)
    found = folded_share(near, eye, FINE, azimuths, tables, EARTH, raise_to_far(view, eye))[0]
    slow = np.zeros(near.shape)
    nodes = np.linspace(0, 1, tables.shape[2])
    for k, azimuth in enumerate(azimuths):
        tangent = horizon_tangent(near, eye, FINE, azimuth, EARTH)
        raise_to_far(view, eye)(k, tangent)
        slow += np.interp(tangent / np.hypot(1, tangent), nodes, tables[0, k])
    assert np.abs(found - slow / tables[0, :, 0].sum()).max() < 1e-3  # 300 suns: half a node is a good part of one
    assert (found <= folded_share(near, eye, FINE, azimuths, tables, EARTH)[0] + 1e-4).all()
