"""Slope, aspect and hillshade against a slow reference, exact planes,
symmetries and an independent library.
"""

import math

import matplotlib.cbook
import numba
import numpy as np
import pytest
import richdem as rd
from hypothesis import given
from hypothesis import strategies as st

from tunnelsite.kernels.terrain.slope import aspect, hillshade, slope, slope_aspect


def reference(ground, east_m, north_m):
    """Horn (1981), one cell at a time in double precision."""
    rows, cols = ground.shape
    gradient_east, gradient_north = np.full(ground.shape, np.nan), np.full(ground.shape, np.nan)
    for r in range(1, rows - 1):
        for c in range(1, cols - 1):
            w = ground[r - 1 : r + 2, c - 1 : c + 2].astype(float)
            if np.isfinite(w).all():
                gradient_east[r, c] = (w[:, 2] @ [1, 2, 1] - w[:, 0] @ [1, 2, 1]) / (8 * east_m)
                gradient_north[r, c] = (w[0] @ [1, 2, 1] - w[2] @ [1, 2, 1]) / (8 * north_m)
    level = (gradient_east == 0) & (gradient_north == 0)
    direction = np.degrees(np.arctan2(-gradient_east, -gradient_north)) % 360
    return np.hypot(gradient_east, gradient_north), np.where(level, np.nan, direction)


def angle_between(a, b):
    return np.abs((a - b + 180) % 360 - 180)


def hills(rows=60, cols=70, seed=0, datum=512.0, grain=1 / 64):
    """Rough ground whose heights are multiples of the grain, so sums and shifts are exact even in float32."""
    rng = np.random.default_rng(seed)
    walk = np.cumsum(np.cumsum(rng.integers(-2, 3, (rows, cols)), 0), 1) % 997
    return (datum + walk * grain).astype(np.float32)


@pytest.mark.parametrize("dtype", [np.float32, np.float64])
def test_equals_the_slow_reference_with_gaps_and_oblong_cells(dtype):
    ground = hills().astype(dtype)
    ground[10, 10], ground[30:33, 40], ground[0, 5], ground[20, 50] = np.nan, np.nan, np.nan, np.inf
    got_slope, got_aspect = slope_aspect(ground, 1.5, 0.75)
    want_slope, want_aspect = reference(ground, 1.5, 0.75)
    assert got_slope.dtype == got_aspect.dtype == dtype
    np.testing.assert_allclose(got_slope, want_slope, rtol=5e-7 if dtype == np.float32 else 1e-14)
    assert np.array_equal(np.isnan(got_aspect), np.isnan(want_aspect))
    assert np.nanmax(angle_between(got_aspect, want_aspect)) < 0.0002
    assert np.nanmin(got_aspect) >= 0 and np.nanmax(got_aspect) < 360


def test_every_incomplete_window_is_no_data_and_no_other():
    ground = hills()
    ground[25, 25] = np.nan
    gaps = np.isnan(slope(ground, 1.0))
    expected = np.ones(ground.shape, bool)
    expected[1:-1, 1:-1] = False
    expected[24:27, 24:27] = True
    assert np.array_equal(gaps, expected)


def test_slope_and_aspect_alone_equal_the_pair_to_the_bit():
    ground = hills()
    both = slope_aspect(ground, 2.0)
    assert np.array_equal(slope(ground, 2.0), both[0], equal_nan=True)
    assert np.array_equal(aspect(ground, 2.0), both[1], equal_nan=True)


def test_arc_tangent_is_good_to_0_0002_degree_all_round():
    azimuths = np.linspace(0, 360, 4001)
    for dtype in (np.float32, np.float64):
        # one 3x3 window after another; each falls towards its own azimuth
        tilt = np.zeros((3, 3 * azimuths.size))
        for row, north in enumerate((1, 0, -1)):
            for col, east in enumerate((-1, 0, 1)):
                rise = east * np.sin(np.radians(azimuths)) + north * np.cos(np.radians(azimuths))
                tilt[row, col::3] = -rise
        tilt = tilt.astype(dtype)
        got = aspect(tilt, 1.0)[1, 1::3]
        want = reference(tilt, 1.0, 1.0)[1][1, 1::3]
        assert angle_between(got, want).max() < 0.0002
        assert got.min() >= 0 and got.max() < 360


def test_the_eight_winds_are_exact():
    for azimuth, (east, north) in {
        0: (0, 1), 45: (1, 1), 90: (1, 0), 135: (1, -1), 180: (0, -1), 225: (-1, -1),
        270: (-1, 0), 315: (-1, 1),
    }.items():  # fmt: skip
        row, col = np.mgrid[:3, :3]
        for dtype in (np.float32, np.float64):
            ground = (-(east * col - north * row)).astype(dtype)
            assert aspect(ground, 1.0)[1, 1] == pytest.approx(azimuth, abs=1e-5)


@given(
    east=st.integers(-400, 400), north=st.integers(-400, 400), datum=st.integers(-500, 4000),
    cell=st.sampled_from([0.25, 1.0, 2.0, 8.0]),
)  # fmt: skip
def test_a_plane_has_its_slope_everywhere_inside_and_nothing_at_the_rim(east, north, datum, cell):
    row, col = np.mgrid[:7, :9]
    ground = (datum + (east * col - north * row) / 64).astype(np.float32)  # exact in float32
    got_slope, got_aspect = slope_aspect(ground, cell)
    inside = (slice(1, -1), slice(1, -1))
    want = math.hypot(east, north) / 64 / cell
    np.testing.assert_allclose(got_slope[inside], want, rtol=2e-7)
    assert np.isnan(got_slope).sum() == ground.size - 5 * 7
    if east == north == 0:
        assert (got_slope[inside] == 0).all() and np.isnan(got_aspect).all()
    else:
        assert angle_between(got_aspect[inside], math.degrees(math.atan2(-east, -north))).max() < 0.0002


@given(seed=st.integers(0, 10**6), shift=st.integers(-300, 300))
def test_raising_the_datum_changes_nothing(seed, shift):
    ground = hills(9, 11, seed)
    for before, after in zip(slope_aspect(ground, 1.0), slope_aspect(ground + np.float32(shift), 1.0), strict=True):
        assert np.array_equal(before, after, equal_nan=True)


@given(seed=st.integers(0, 10**6))
def test_mirrors_and_quarter_turns(seed):
    ground = hills(12, 10, seed) + np.random.default_rng(seed).normal(size=(12, 10)).astype(np.float32)
    base_slope, base_aspect = slope_aspect(ground, 1.0)
    for turned, back, azimuth in (
        (ground[:, ::-1], lambda a: a[:, ::-1], lambda a: -a),
        (ground[::-1], lambda a: a[::-1], lambda a: 180 - a),
        (np.rot90(ground), lambda a: np.rot90(a, -1), lambda a: a + 90),  # rot90 turns anticlockwise
        (np.rot90(ground, 2), lambda a: np.rot90(a, -2), lambda a: a + 180),
    ):
        got_slope, got_aspect = slope_aspect(turned, 1.0)
        assert np.array_equal(back(got_slope), base_slope, equal_nan=True)  # to the bit
        assert np.nanmax(angle_between(azimuth(back(got_aspect)), base_aspect)) < 0.0004


@given(seed=st.integers(0, 10**6))
def test_feet_and_metres_agree(seed):
    metres = hills(8, 9, seed).astype(float)
    in_metres, in_feet = slope_aspect(metres, 1.0), slope_aspect(metres / 0.3048, 1 / 0.3048)
    np.testing.assert_allclose(in_feet[0], in_metres[0], rtol=1e-9, atol=1e-9)
    tilted = in_metres[0] > 1e-6  # level to the bit in metres may be level but for rounding in feet
    assert angle_between(in_feet[1][tilted], in_metres[1][tilted]).max(initial=0) < 1e-5


def test_one_thread_or_many_and_chunks_give_the_same_bits():
    ground = hills(403, 517) + np.random.default_rng(3).normal(size=(403, 517)).astype(np.float32)
    whole = (*slope_aspect(ground, 1.0), hillshade(ground, 1.0, 200, 30))
    threads = numba.get_num_threads()
    try:
        numba.set_num_threads(1)
        single = (*slope_aspect(ground, 1.0), hillshade(ground, 1.0, 200, 30))
    finally:
        numba.set_num_threads(threads)
    for a, b in zip(whole, single, strict=True):
        assert np.array_equal(a, b, equal_nan=True)
    for top, left, height, width in ((0, 0, 50, 33), (100, 7, 61, 90), (350, 400, 53, 117), (11, 500, 9, 5)):
        part = ground[top : top + height, left : left + width]
        inside = (slice(top + 1, top + height - 1), slice(left + 1, left + width - 1))
        for a, b in zip((*slope_aspect(part, 1.0), hillshade(part, 1.0, 200, 30)), whole, strict=True):
            assert np.array_equal(a[1:-1, 1:-1], b[inside], equal_nan=True)


def test_agrees_with_richdem_inside():
    """Oracle: richdem 'slope_riserun' and 'aspect' (Horn). Its rim is left out:
    it makes up cells beyond the edge.
    """
    ground = hills(200, 150) + np.random.default_rng(1).normal(size=(200, 150)).astype(np.float32)
    wrapped = rd.rdarray(ground, no_data=-9999, geotransform=[0, 1, 0, 0, 0, -1])
    inside = (slice(1, -1), slice(1, -1))
    got_slope, got_aspect = slope_aspect(ground, 1.0)
    want_slope = np.asarray(rd.TerrainAttribute(wrapped, "slope_riserun"))
    want_aspect = np.asarray(rd.TerrainAttribute(wrapped, "aspect"))
    np.testing.assert_allclose(got_slope[inside], want_slope[inside], rtol=1e-5)
    assert angle_between(got_aspect[inside], want_aspect[inside]).max() < 0.002


def test_open_dem_against_the_reference_and_richdem():
    """Open data: the Jacksboro fault DEM that matplotlib carries (whole metres, so it has true flats)."""
    ground = matplotlib.cbook.get_sample_data("jacksboro_fault_dem.npz")["elevation"][100:220, 150:270]
    got_slope, got_aspect = slope_aspect(ground, 71.9, 92.6)  # whole numbers are read as float64
    want_slope, want_aspect = reference(ground, 71.9, 92.6)
    np.testing.assert_allclose(got_slope, want_slope, rtol=1e-12)
    assert np.array_equal(np.isnan(got_aspect), np.isnan(want_aspect))
    assert np.isnan(got_aspect[1:-1, 1:-1]).any()  # there are level windows
    assert np.nanmax(angle_between(got_aspect, want_aspect)) < 0.0002


def test_hillshade_is_the_cosine_to_the_sun():
    ground = hills()
    ground[5, 5] = np.nan
    azimuth, elevation = math.radians(210), math.radians(25)
    sun = np.array(
        [
            math.sin(azimuth) * math.cos(elevation),
            math.cos(azimuth) * math.cos(elevation),
            math.sin(elevation),
        ]
    )
    steepness, downslope = reference(ground, 2.0, 2.0)
    downslope = np.where(steepness == 0, 0, downslope)
    away = np.radians(downslope)
    normal = np.stack([steepness * np.sin(away), steepness * np.cos(away), np.ones_like(steepness)])
    normal /= np.sqrt((normal**2).sum(0))
    want = 255 * np.clip(np.tensordot(sun, normal, 1), 0, None)
    got = hillshade(ground, 2.0, 210, 25)
    assert got.dtype == np.float32
    np.testing.assert_allclose(got, want, atol=2e-4)
    assert (got == 0).any()  # some ground is turned away


def test_hillshade_of_level_ground_and_of_exaggerated_ground():
    level = np.full((4, 4), 300, np.float32)
    assert hillshade(level, 1.0, 123, 30)[1:3, 1:3] == pytest.approx(255 * math.sin(math.radians(30)))
    ground = hills(20, 20).astype(float)
    np.testing.assert_allclose(
        hillshade(ground, 1.0, 90, 40, 0.3048), hillshade(ground * 0.3048, 1.0, 90, 40), atol=1e-4
    )


@pytest.mark.parametrize("shape", [(0, 0), (1, 1), (2, 5), (5, 2), (3, 1), (1, 3), (3, 2)])
def test_grids_too_small_for_a_window_are_no_data(shape):
    for result in (*slope_aspect(np.ones(shape), 1.0), hillshade(np.ones(shape), 1.0, 0, 45)):
        assert result.shape == shape and np.isnan(result).all()


def test_layout_and_kind_of_the_array_do_not_matter_and_it_is_left_alone():
    ground = hills()
    kept = ground.copy()
    ground.setflags(write=False)
    want = slope(ground, 1.0)
    doubled = np.repeat(np.repeat(ground, 2, 0), 2, 1)[::2, ::2]
    for other in (np.asfortranarray(ground), doubled, ground.astype(">f4").astype("<f4")):
        assert np.array_equal(slope(other, 1.0), want, equal_nan=True)
    whole = np.round(ground).astype(np.int16)
    assert np.array_equal(slope(whole, 1.0), slope(whole.astype(float), 1.0), equal_nan=True)
    assert np.array_equal(ground, kept)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: slope(np.zeros(5), 1.0), r"1 dimension"),
        (lambda: slope(np.zeros((5, 5)), 0.0), r"cell_m is 0.0"),
        (lambda: slope(np.zeros((5, 5)), 1.0, -1.0), r"cell_north_m is -1.0"),
        (lambda: slope(np.zeros((5, 5)), math.nan), r"cell_m is nan"),
        (lambda: hillshade(np.zeros((5, 5)), 1.0, math.nan, 45), r"finite"),
    ],
)
def test_nonsense_is_refused_in_words(call, words):
    with pytest.raises(ValueError, match=words):
        call()
