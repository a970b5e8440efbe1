"""Cut and fill of graded pads against slow references, closed forms and invariants."""

import numba
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.ndimage import convolve, gaussian_filter, map_coordinates

from tests.kernels import reference
from tunnelsite.kernels.terrain.blade import blade_ground, blade_step
from tunnelsite.kernels.terrain.grading import FINISHED_SLOPE, Grading, graded_pads
from tunnelsite.kernels.terrain.lone_things import lone_sd, lone_things


def everywhere(ground, *args):
    rows, cols = np.divmod(np.arange(ground.size), ground.shape[1])
    return Grading(*(layer.reshape(ground.shape) for layer in graded_pads(ground, rows, cols, *args)))


def rough(shape=(14, 18), seed=0):
    rng = np.random.default_rng(seed)
    r, c = np.mgrid[: shape[0], : shape[1]]
    return 250.0 + 0.03 * c - 0.04 * r + rng.normal(0.0, 0.1, shape)


def assert_grading(got, want, rtol=1e-9, atol=1e-9):
    for k, name in enumerate(Grading._fields):
        np.testing.assert_allclose(got[k], want[k], rtol=rtol, atol=atol, err_msg=name)


@pytest.mark.parametrize("size", [(7, 3), (7.26, 3.144), (6, 4), (4.5, 0.7)])
@pytest.mark.parametrize("shrink", [1.0, 1.25, 0.8])
def test_equals_the_slow_reference_at_every_placement(size, shrink):
    ground = rough()
    ground[9, 4] = np.nan
    want = reference.grading(ground, *size, 0.5, FINISHED_SLOPE, shrink)
    assert_grading(everywhere(ground, *size, 0.5, FINISHED_SLOPE, shrink), want)


@pytest.mark.parametrize("shrink", [1.0, 1.15])
@pytest.mark.parametrize(
    ("cell", "size", "ripple"), [(1.3, (7.26, 3.144), 0.07), (0.6, (6, 4), 0.07), (0.3, (20.2, 11.4), 0.02)]
)
def test_error_is_taken_off_as_in_the_slow_reference(cell, size, ripple, shrink):
    """With a stump and a hole: some pads have one on them, some have none."""
    ground = rough((32, 40) if cell < 0.5 else (14, 18))
    ground[9, 4] = np.nan
    ground[7:10, 9:12] += 0.9 if cell < 0.5 else 0.0
    ground[6, 9], ground[3, 13] = ground[6, 9] + 0.9, ground[3, 13] - 0.8
    want = reference.grading(ground, *size, cell, FINISHED_SLOPE, shrink, ripple, 0.01)
    got = everywhere(ground, *size, cell, FINISHED_SLOPE, shrink, ripple, 0.01)
    assert_grading(got, want, rtol=1e-6, atol=1e-7)  # lone things are kept in single precision
    assert 0.0 < np.nanmean(got.kept) < 1.0
    plain = everywhere(ground, *size, cell, FINISHED_SLOPE, shrink, ripple)
    known = np.isfinite(got.cut_m3)
    assert 0.05 < np.mean(plain.max_cut_m[known] < got.max_cut_m[known] - 1e-6) < 0.95


def test_single_precision_ground():
    ground = rough().astype(np.float32)
    want = reference.grading(ground, 7.26, 3.144, 1.0, FINISHED_SLOPE, 1.25)
    assert_grading(everywhere(ground, 7.26, 3.144, 1.0, FINISHED_SLOPE, 1.25), want, rtol=1e-7, atol=1e-7)


@settings(max_examples=20, deadline=None)
@given(
    length=st.floats(1.05, 9.0),
    width=st.floats(1.05, 7.0),
    seed=st.integers(0, 99),
    max_slope=st.floats(0.0, 0.1),
    shrink=st.floats(0.7, 1.6),
)
def test_equals_the_slow_reference_whatever_is_asked(length, width, seed, max_slope, shrink):
    ground = rough((9, 12), seed)
    want = reference.grading(ground, length, width, 1.0, max_slope, shrink)
    assert_grading(everywhere(ground, length, width, 1.0, max_slope, shrink), want)


@pytest.mark.parametrize("slope", [0.02, -0.05])
def test_falling_plane_has_a_closed_form(slope):
    """Two wedges L/2 long and (s - s_max) L/2 deep: cut = fill = (s - 1/192) L^2 W / 8 (derived)."""
    errors = []
    for cell in (1.0, 0.5, 0.25):
        c = (np.arange(int(40 / cell)) - 10) * cell
        ground = np.repeat((100.0 + slope * c)[None], int(20 / cell), axis=0)
        got = graded_pads(ground, [ground.shape[0] // 2], [ground.shape[1] // 2], 29.0 / cell, 9.0 / cell, cell)
        want = (abs(slope) - FINISHED_SLOPE) * 29.0**2 * 9.0 / 8.0
        errors.append(abs(got.cut_m3[0] / want - 1.0))
        assert got.cut_m3[0] == pytest.approx(got.fill_m3[0], rel=1e-9)
        assert got.slope_along[0] == pytest.approx(np.sign(slope) * FINISHED_SLOPE)
    assert max(errors) < 2e-3  # finer cells are averaged over a metre: they add nothing on a plane


def test_a_fall_within_the_finished_slope_moves_no_earth():
    r, c = np.mgrid[:20, :50]
    got = graded_pads(100.0 + 0.005 * c + 0.004 * r, [10], [25], 29.26, 9.144, 1.0)
    assert got.cut_m3[0] < 1e-9
    assert got.slope_along[0] == pytest.approx(0.005)
    assert got.slope_across[0] == pytest.approx(-0.004)  # rows run south


def test_steeper_across():
    r = np.mgrid[:40, :60][0] - 20.0
    got = graded_pads(100.0 - 0.08 * r, [20], [30], 29.0, 9.0, 1.0)
    assert got.slope_across[0] == pytest.approx(FINISHED_SLOPE)
    assert got.slope_along[0] == pytest.approx(0.0, abs=1e-12)
    excess = 0.08 - FINISHED_SLOPE
    assert got.cut_m3[0] == pytest.approx(29 * excess * (1 + 2 + 3 + 4), rel=1e-9)
    assert got.max_cut_m[0] == pytest.approx(4.5 * excess)  # at the very edge, half a cell beyond the last middle


@pytest.mark.parametrize("cell", [0.1, 0.5, 1.0, 2.0])
def test_deepest_cut_is_that_of_dense_points_over_the_very_pad(cell):
    """Bilinear ground between cell middles, looked at every 5 cm by scipy, edges and corners included: within 1 cm."""
    numbers, off = np.random.default_rng(3), []
    shape, size = (int(36 / cell), int(56 / cell)), (31.7, 11.6)
    r, c = np.mgrid[: shape[0], : shape[1]] * cell
    for _ in range(20):
        k = numbers.normal(0.0, 0.15, (4, 2))
        waves = sum(0.08 * np.sin(a * c + b * r + 6 * numbers.random()) for a, b in k)
        ground = 100.0 + numbers.uniform(-0.02, 0.02) * c + numbers.uniform(-0.03, 0.03) * r + waves
        middle = (shape[0] // 2, shape[1] // 2)
        got = graded_pads(ground, [middle[0]], [middle[1]], size[0] / cell, size[1] / cell, cell)
        v, u = np.meshgrid(np.linspace(-size[1] / 2, size[1] / 2, 233), np.linspace(-size[0] / 2, size[0] / 2, 635))
        height = map_coordinates(ground, [middle[0] + v / cell, middle[1] + u / cell], order=1)
        d = height - got.level_m[0] - got.slope_along[0] * u + got.slope_across[0] * v
        off.append([got.max_cut_m[0] - d.max(), got.max_fill_m[0] + d.min()])
    assert np.abs(off).max() < 0.01


@pytest.mark.parametrize("sd", [0.02, 0.05])
def test_fine_cells_do_not_deepen_the_cut_by_their_noise(sd):
    """Level ground of 0.1 m cells with errors of their own: no blade feels them; cell by cell they reach 4 deviations."""
    ground = 100.0 + np.random.default_rng(2).normal(0.0, sd, (200, 400))
    got = graded_pads(ground, [100], [200], 290, 90, 0.1)
    assert got.max_cut_m[0] < 0.4 * sd
    assert got.cut_m3[0] < 0.5 * 261 * 0.1 * sd


def test_terrace():
    """A 1 m step across the middle, design level: half the pad is cut 0.5 m and half filled 0.5 m."""
    ground = np.full((30, 60), 50.0)
    ground[:, 30:] = 51.0
    got = graded_pads(ground, [15], [30], 30.0, 9.0, 1.0, 0.0)
    # 30 cells: 14.5 either side of the middle cell's centre, the middle cell itself being upper.
    share = 15.5 / 30.0
    assert got.level_m[0] == pytest.approx(50.0 + share)
    assert got.cut_m3[0] == pytest.approx(15.5 * 9 * (1 - share))
    assert got.max_cut_m[0] == pytest.approx(1 - share)
    assert got.max_fill_m[0] == pytest.approx(share)


def test_spike_in_a_level_pad():
    ground = np.full((30, 60), 80.0)
    ground[15, 30] = 83.0
    got = graded_pads(ground, [15], [30], 29.0, 9.0, 1.0)
    assert got.max_cut_m[0] == pytest.approx(3.0, abs=0.02)
    assert got.cut_m3[0] == pytest.approx(3.0 * (1 - 1 / 261), rel=1e-9)


@settings(max_examples=30, deadline=None)
@given(shrink=st.floats(0.5, 2.0), seed=st.integers(0, 999))
def test_cut_makes_up_the_fill(shrink, seed):
    got = graded_pads(rough((12, 34), seed), [6], [17], 29.26, 9.144, 1.0, FINISHED_SLOPE, shrink)
    assert got.cut_m3[0] == pytest.approx(shrink * got.fill_m3[0], rel=1e-10)


def test_shrink_lowers_the_pad():
    levels = [graded_pads(rough(), [7], [9], 9, 5, 1.0, 0.0, s).level_m[0] for s in (0.8, 1.0, 1.3)]
    assert levels[0] > levels[1] > levels[2]


def test_mirror_lift_and_feet():
    ground = np.round(rough() * 4096) / 4096
    one = everywhere(ground, 7.3, 4.2, 1.0, FINISHED_SLOPE, 1.2)
    turned = everywhere(ground[::-1, ::-1].copy(), 7.3, 4.2, 1.0, FINISHED_SLOPE, 1.2)
    lifted = everywhere(ground + 5000.0, 7.3, 4.2, 1.0, FINISHED_SLOPE, 1.2)
    feet = everywhere(ground / 0.3048, 7.3, 4.2, 1.0 / 0.3048, FINISHED_SLOPE, 1.2)
    for k, (sign, lift, scale) in enumerate(
        (
            (1, 0, 0.3048**3),
            (1, 0, 0.3048**3),
            (1, 0, 0.3048),
            (1, 0, 0.3048),
            (1, 5000, 0.3048),
            (-1, 0, 1),
            (-1, 0, 1),
            (1, 0, 1),
        )
    ):
        np.testing.assert_allclose(sign * turned[k][::-1, ::-1], one[k], rtol=1e-9, atol=1e-11)
        np.testing.assert_allclose(lifted[k] - lift, one[k], rtol=1e-9, atol=1e-11)
        np.testing.assert_allclose(feet[k] * scale, one[k], rtol=1e-9, atol=1e-10)


def test_one_or_more_threads_and_any_list_give_the_same_bits():
    ground = rough((80, 120)).astype(np.float32)
    whole = everywhere(ground, 12.4, 5.3, 1.0, FINISHED_SLOPE, 1.1)
    before = numba.get_num_threads()
    try:
        numba.set_num_threads(1)
        one = everywhere(ground, 12.4, 5.3, 1.0, FINISHED_SLOPE, 1.1)
    finally:
        numba.set_num_threads(before)
    rows, cols = np.array([40, 11, 3]), np.array([60, 100, 20])
    few = graded_pads(ground, rows, cols, 12.4, 5.3, 1.0, FINISHED_SLOPE, 1.1)
    for k in range(8):
        np.testing.assert_array_equal(one[k], whole[k])
        np.testing.assert_array_equal(few[k], whole[k][rows, cols])


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf])
def test_gaps_and_edges_are_not_known(bad):
    ground = rough((20, 20))
    ground[10, 10] = bad
    got = graded_pads(ground, [10, 10, 0, 5], [10, 12, 10, 5], 5, 3, 1.0)
    np.testing.assert_array_equal(np.isnan(got.cut_m3), [True, True, True, False])
    np.testing.assert_array_equal(np.isnan(got.slope_along), [True, True, True, False])


def test_refuses_what_cannot_be_meant():
    ground = rough()
    with pytest.raises(ValueError, match="outside"):
        graded_pads(ground, [99], [3], 5, 3, 1.0)
    with pytest.raises(ValueError, match="equally long"):
        graded_pads(ground, [1, 2], [3], 5, 3, 1.0)
    with pytest.raises(ValueError, match="shrink"):
        graded_pads(ground, [5], [5], 5, 3, 1.0, 0.01, 0.0)
    with pytest.raises(ValueError, match="float32 or float64"):
        graded_pads(ground.astype(int), [5], [5], 5, 3, 1.0)
    assert graded_pads(ground, [], [], 5, 3, 1.0).cut_m3.size == 0


@pytest.mark.parametrize("sign", [1.0, -1.0])
@pytest.mark.parametrize("height_m", [0.09, 0.16, 0.60])
def test_a_lone_thing_counts_whole(height_m, sign):
    """One cell off level ground, errors of 0.10 m: a stump or a hole of 10 cm or more is there to be cut or filled, all of it, less what it
    lifts the plane at its middle, height / area (derived)."""
    ground = np.full((41, 61), 100.0)
    ground[20, 30] += sign * height_m
    found = Grading(
        *(layer[0] for layer in graded_pads(ground, [20], [30], 31.7, 11.6, 1.0, ripple_m=0.10, lone_sd_m=0.0))
    )
    deep, other = (found.max_cut_m, found.max_fill_m)[:: int(sign)]
    assert found.kept == 0.0  # all else is taken for error
    lift = height_m / (31.7 * 11.6)
    assert (deep, other) == pytest.approx((height_m - lift, lift) if height_m > 0.10 else (0.0, 0.0), abs=1e-6)


@pytest.mark.parametrize("range_m", [0.0, 2.0, 5.0])
def test_noise_alone_shows_no_lone_things(range_m):
    """Level ground, errors of 0.10 m, each cell for itself or alike over some metres: one pad in a hundred shows one at most."""
    noise = np.random.default_rng(4).normal(size=(900, 900))
    if range_m > 0:
        noise = gaussian_filter(noise, range_m / 2, mode="wrap")  # its correlation is exp(-(d / range)^2)
    found = lone_things(100 + 0.10 * noise / noise.std(), 1.0, 0.0)
    pads = found[:891, :899].reshape(81, 11, 29, 31).any(axis=(1, 3))
    assert pads.mean() <= 0.015


def test_rough_ground_and_breaks_of_slope_are_no_lone_things():
    """Swells, a bank, a ditch and furrows are how the ground lies; a stump among them is found."""
    r, c = np.mgrid[:120, :120]
    ground = 100 + 0.1 * np.sin(r / 1.5) + np.where(c > 60, 0.8, 0.0) - np.where(abs(r - c) < 2, 0.5, 0.0)
    assert not lone_things(ground, 1.0, 0.0).any()
    ground[20, 90] += 0.7
    assert np.argwhere(lone_things(ground, 1.0, 0.0)).tolist() == [[20, 90]]


@pytest.mark.parametrize(("cell", "range_m"), [(1.0, 0.0), (1.0, 5.0), (0.4, 0.0), (0.4, 2.0), (3.0, 5.0)])
def test_error_of_a_height_against_those_round_it(cell, range_m):
    """Against simulation."""
    noise = np.random.default_rng(1).normal(size=(600, 600))
    if range_m > 0:
        noise = gaussian_filter(noise, range_m / cell / 2, mode="wrap")
    ground, step = blade_ground(0.1 * noise / noise.std(), cell), blade_step(cell)
    ground = ground[5:-5:step, 5:-5:step]
    round_it = convolve(ground, np.array([[1, 1, 1], [1, 0, 1], [1, 1, 1]]) / 8)
    assert (ground - round_it)[1:-1, 1:-1].std() == pytest.approx(lone_sd(cell, 0.1, range_m), rel=0.05)
