"""The horizon engine against a slow march on the same surface, closed forms and symmetries."""

import math

import numba
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from tunnelsite.kernels.light import horizon
from tunnelsite.kernels.light.horizon import Rays, cast_shadow, earth_drop_per_m, horizon_profile, horizon_tangent

AZIMUTHS = (0.0, 17.0, 45.0, 64.0, 90.0, 133.0, 180.0, 211.3, 225.0, 270.0, 305.0, 359.9)


def reference_tangent(surface, eye, cell, azimuth_deg, cells, drop=0.0):
    """Every crossing of every ray with the grid's edges, one cell at a time, from sine and cosine alone."""
    north, east = math.cos(math.radians(azimuth_deg)), math.sin(math.radians(azimuth_deg))
    north, east = (0.0 if abs(v) < 1e-12 else v for v in (north, east))
    rows, columns = surface.shape
    answers = []
    for r, c in cells:
        reach = [np.arange(1, max(rows, columns)) / abs(v) for v in (north, east) if v]
        d = np.concatenate(reach)
        y, x = r - d * north, c + d * east
        y = np.where(np.abs(y - np.round(y)) < 1e-7, np.round(y), y)
        x = np.where(np.abs(x - np.round(x)) < 1e-7, np.round(x), x)
        inside = (y >= 0) & (y <= rows - 1) & (x >= 0) & (x <= columns - 1)
        d, y, x = d[inside] * cell, y[inside], x[inside]
        y0, x0 = np.floor(y).astype(int), np.floor(x).astype(int)
        y1, x1 = np.ceil(y).astype(int), np.ceil(x).astype(int)
        a, b = surface[y0, x0].astype(float), surface[y1, x1].astype(float)
        height = a + (y - y0 + x - x0) * (b - a)  # one of the two is whole: an edge, not a face
        tangent = (height - float(eye[r, c])) / d - drop * d
        tangent = tangent[np.isfinite(tangent)]
        answers.append(max(0.0, tangent.max()) if tangent.size else 0.0)
    return np.where(np.isnan([eye[r, c] for r, c in cells]), np.nan, answers)


def all_cells(shape):
    return [(r, c) for r in range(shape[0]) for c in range(shape[1])]


@pytest.fixture(scope="module")
def farm():
    """Invented rolling ground with single trees, a hedge, and sheds: (surface, eye 1 m above the ground)."""
    rng = np.random.default_rng(5)
    y, x = np.mgrid[0:260, 0:230].astype(float)
    ground = 6 * np.sin(x / 61 + 1) * np.cos(y / 47) + 0.02 * y + 0.03 * rng.standard_normal(y.shape)
    surface = ground.copy()
    for _ in range(40):
        r, c, radius, height = (
            rng.uniform(0, 260),
            rng.uniform(0, 230),
            rng.uniform(1.5, 5),
            rng.uniform(4, 15),
        )
        crown = 1 - ((y - r) ** 2 + (x - c) ** 2) / radius**2
        surface = np.maximum(surface, np.where(crown > 0, ground + height * np.sqrt(np.maximum(crown, 0)), -99))
    surface[60:70, 100:125] = ground[65, 112] + 6
    surface[150:152, 20:160] = ground[150:152, 20:160] + 3
    return surface.astype(np.float32), (ground + 1).astype(np.float32)


def degrees(tangent):
    return np.degrees(np.arctan(tangent))


surfaces = st.tuples(st.integers(1, 14), st.integers(1, 14)).flatmap(
    lambda shape: arrays(
        np.float32, shape, elements=st.one_of(st.floats(-50, 50, width=32), st.just(0.0), st.just(math.nan))
    )
)


@settings(max_examples=60, deadline=None)
@given(surfaces, st.floats(0, 360), st.sampled_from([0.0, 0.01]))
def test_near_march_equals_the_slow_march(surface, azimuth, drop):
    eye = np.roll(surface, 1, axis=1) + np.float32(1)
    got = horizon_tangent(surface, eye, 2.0, azimuth, Rays(drop))
    want = reference_tangent(surface, eye, 2.0, azimuth, all_cells(surface.shape), drop).reshape(surface.shape)
    np.testing.assert_allclose(got, want, rtol=2e-5, atol=2e-4)


@pytest.mark.parametrize(("azimuth", "drop"), [(31.0, 0.0), (147.0, -0.002), (213.0, 0.002), (340.0, 0.0)])
def test_what_the_near_march_passes_over_is_no_horizon(azimuth, drop):
    """Gentle ground, a low post in each row of a group of eight, and holes: most of what lies ahead is too low to be marched."""
    y, x = np.mgrid[0:52, 0:200].astype(float)
    ground = 0.4 * np.sin(x / 9) * np.cos(y / 11) + 0.02 * y + 500.0
    surface = np.where(np.random.default_rng(9).random(y.shape) < 0.01, np.nan, ground).astype(np.float32)
    post = np.arange(8)
    surface[4 + 5 * post, 12 + 24 * post] = ground[4 + 5 * post, 12 + 24 * post] + 1.6
    eye = (ground + 1).astype(np.float32)
    cells = [(r, c) for r, c in all_cells(eye.shape) if (r + c) % 3 == 0]
    got = horizon_tangent(surface, eye, 1.0, azimuth, Rays(drop))
    want = reference_tangent(surface, eye, 1.0, azimuth, cells, drop)
    np.testing.assert_allclose([got[at] for at in cells], want, rtol=2e-5, atol=2e-4)


@settings(max_examples=60, deadline=None)
@given(surfaces, st.sampled_from(range(0, 360, 45)), st.sampled_from([0.0, 0.05]))
def test_skyline_alone_is_exact_where_scan_lines_run_through_the_cells(surface, azimuth, drop):
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(
            horizon, "NEAR_STEPS", 1
        )  # hulls do everything beyond the first row, also on a strongly curved Earth
        got = horizon_tangent(surface, surface + np.float32(1), 1.0, azimuth, Rays(drop))
    cells = all_cells(surface.shape)
    want = reference_tangent(surface, surface + np.float32(1), 1.0, azimuth, cells, drop).reshape(surface.shape)
    np.testing.assert_allclose(got, want, rtol=2e-5, atol=2e-4)


@pytest.mark.parametrize("drop", [0.0, 0.002])
@pytest.mark.parametrize("kind", ["noise", "steps", "hill", "holes"])
def test_rows_that_enter_the_skylines_by_blocks_lose_nothing(kind, drop):
    """Samples sorted out before the stack are nobody's horizon: nearer and higher ones, or chords, hide them."""
    rng = np.random.default_rng(5)
    y, x = np.mgrid[0:123, 0:16].astype(float)
    surface = {
        "noise": rng.normal(0, 1, y.shape),
        "steps": rng.integers(0, 4, y.shape) * 1.0,  # ties everywhere
        "hill": 9 * np.cos((y - 40) / 25) + 0.1 * x + rng.normal(0, 0.02, y.shape),
        "holes": np.where(rng.random(y.shape) < 0.3, np.nan, rng.normal(0, 2, y.shape)),
    }[kind].astype(np.float32)
    eye = (np.nan_to_num(surface) + rng.uniform(-1, 1, y.shape)).astype(np.float32)
    with pytest.MonkeyPatch.context() as patch:
        for azimuth in (0.0, 180.0, 45.0, 270.0):
            want = reference_tangent(surface, eye, 1.0, azimuth, all_cells(surface.shape), drop)
            for near in (5, 16, 40):  # in blocks of 5 and 16 rows, and with 16 nearer rows looked at
                patch.setattr(horizon, "NEAR_STEPS", near)
                got = horizon_tangent(surface, eye, 1.0, azimuth, Rays(drop))
                np.testing.assert_allclose(got.ravel(), want, rtol=2e-5, atol=2e-4, err_msg=f"{azimuth} {near}")


@pytest.mark.parametrize("azimuth", [17.0, 290.0, 340.0])
def test_what_hides_a_line_need_not_hide_the_ray_beside_it(azimuth):
    """Square trees on rolling ground: where a nearer one stands on one line alone, a ray beside it sees past to the one behind."""
    rng = np.random.default_rng(4)
    y, x = np.mgrid[0:420, 0:420].astype(float)
    ground = (6 * np.sin(x / 61 + 1) * np.cos(y / 47) + 0.02 * y).astype(np.float32)
    surface = ground.copy()
    for r, c in rng.integers(3, 417, (400, 2)):
        surface[r - 2 : r + 3, c - 2 : c + 3] += np.float32(rng.uniform(5, 18))
    got = degrees(horizon_tangent(surface, ground + np.float32(1), 1.0, azimuth))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(horizon, "NEAR_STEPS", 420)  # every row is marched
        want = degrees(horizon_tangent(surface, ground + np.float32(1), 1.0, azimuth))
    assert (got - want).min() > -4.0  # -4.5 to -4.7 if one line alone may hide what lies behind


@pytest.mark.parametrize("drop", [0.0, 2e-4])
def test_accuracy_at_any_distance(farm, drop):
    surface, eye = farm
    rng = np.random.default_rng(1)
    cells = list(zip(rng.integers(0, 260, 700), rng.integers(0, 230, 700), strict=True))
    error, far = [], []
    for azimuth in AZIMUTHS:
        got = horizon_tangent(surface, eye, 1.0, azimuth, Rays(drop))
        want = degrees(reference_tangent(surface, eye, 1.0, azimuth, cells, drop))
        error.append([degrees(got[r, c]) for r, c in cells] - want)
        profile = [horizon_profile(surface, r, c, eye[r, c], 1.0, [azimuth], Rays(drop)) for r, c in cells[:100]]
        far.append([p.distance_m[0] > 64 * 1.5 for p in profile])
    error = np.abs(np.concatenate(error))
    assert np.mean(far) > 0.05  # else the scan lines were not tried
    assert np.sqrt(np.mean(error**2)) <= 0.03
    assert np.percentile(error, 99) <= 0.1


@pytest.mark.parametrize("azimuth", AZIMUTHS)
def test_level_ground_is_exactly_level(azimuth):
    flat = np.full((90, 100), 512.3, np.float32)
    assert not horizon_tangent(flat, flat, 1.0, azimuth).any()
    assert not horizon_tangent(flat, flat + np.float32(2), 1.0, azimuth).any()


@pytest.mark.parametrize("azimuth", [0.0, 25.0, -40.0, 45.0, 60.0, 70.0])
@pytest.mark.parametrize("distance", [7, 30, 100, 180])
def test_long_wall_profile_angle(azimuth, distance):
    """tan h = H cos(azimuth from the wall's normal) / D (profile-angle geometry; derived)."""
    surface = np.zeros((200, 1500), np.float32)
    surface[0:4] = 8.0
    got = horizon_tangent(surface, np.zeros_like(surface), 0.5, azimuth)[3 + distance, 740:760]
    want = 8.0 * math.cos(math.radians(azimuth)) / (0.5 * distance)
    assert np.abs(degrees(got) - degrees(want)).max() < 0.03


@pytest.mark.parametrize("k", [10, 15, 25, 40])
@pytest.mark.parametrize("kind", ["pillar", "cone"])
def test_pillar_and_cone_seen_along_a_3_4_5_ray(k, kind):
    y, x = np.mgrid[0:401, 0:401] - 200.0
    cone = np.maximum(0.0, 30.0 - 0.7 * np.hypot(y, x))
    surface = np.where((y == 0) & (x == 0), 30.0, cone if kind == "cone" else 0.0).astype(np.float32)
    eye = np.zeros_like(surface)
    for dy, dx in ((3, 4), (4, 3), (-3, 4), (-4, -3), (0, 5), (5, 0), (-5, 0)):
        azimuth = math.degrees(math.atan2(dx, dy))  # the apex is north by dy, east by dx
        got = horizon_tangent(surface, eye, 2.0, azimuth)[200 + k * dy, 200 - k * dx]
        assert degrees(got) == pytest.approx(degrees(30.0 / (10.0 * k)), abs=2e-3)


def test_row_of_trees_shades_only_between_its_ends():
    surface = np.zeros((160, 300), np.float32)
    surface[40:43, 100:200] = 12.0
    got = horizon_tangent(surface, np.zeros_like(surface), 1.0, 0.0)
    assert got[142, 150] == pytest.approx(0.12, rel=1e-6)
    assert got[142, 99] == 0.0 and got[142, 100] > 0.0 and got[142, 199] > 0.0 and got[142, 200] == 0.0
    assert not got[:40].any()


@pytest.mark.parametrize("azimuth", AZIMUTHS)
def test_tilted_plane(azimuth):
    y, x = np.mgrid[0:200, 0:220].astype(np.float32)
    plane = (0.05 * x - 0.08 * y).astype(np.float32)  # rises 0.05 to the east, 0.08 to the north
    rise = 0.05 * math.sin(math.radians(azimuth)) + 0.08 * math.cos(math.radians(azimuth))
    got = horizon_tangent(plane, plane, 1.0, azimuth)[90:110, 100:120]
    # Every step of the ray ties here, so that two lines' steepest steps differ most: 0.014 degrees.
    np.testing.assert_allclose(got, max(rise, 0.0), atol=2.5e-4)


def test_unknown_cells_cast_no_shade_and_unknown_observers_get_no_answer():
    surface = np.zeros((120, 20), np.float32)
    surface[5] = 40.0
    eye = np.zeros_like(surface)
    eye[60, 3] = np.nan
    surface[5, 8:13] = np.nan
    got = horizon_tangent(surface, eye, 1.0, 0.0)
    assert np.isnan(got[60, 3]) and np.isnan(got).sum() == 1
    assert not got[6:, 8:13].any() and (got[6:, 14] > 0).all()
    assert not horizon_tangent(np.full_like(surface, np.nan), np.zeros_like(eye), 1.0, 33.0).any()


def test_a_cell_never_shades_itself():
    surface = np.zeros((9, 9), np.float32)
    surface[4, 4] = 20.0
    for azimuth in AZIMUTHS:
        got = horizon_tangent(surface, np.zeros_like(surface), 1.0, azimuth)
        assert got[4, 4] == 0.0 and got.max() > 1.0


@pytest.mark.parametrize("shape", [(1, 1), (1, 300), (300, 1), (2, 150)])
def test_thin_grids(shape):
    surface = np.random.default_rng(2).normal(size=shape).astype(np.float32)
    for azimuth in AZIMUTHS:
        got = horizon_tangent(surface, surface, 1.0, azimuth).ravel()
        np.testing.assert_allclose(
            got, reference_tangent(surface, surface, 1.0, azimuth, all_cells(shape)), rtol=1e-4, atol=2e-5
        )


@pytest.mark.parametrize("azimuth", AZIMUTHS)
def test_mirrors_and_quarter_turns(farm, azimuth):
    """Scan lines are anchored at the north-west corner, so both sides carry their own error of the accuracy
    test."""
    surface, eye = farm
    base = degrees(horizon_tangent(surface, eye, 1.0, azimuth))
    for turn, turned in (
        (lambda a: a[:, ::-1], -azimuth),
        (lambda a: a[::-1], 180.0 - azimuth),
        (np.rot90, azimuth - 90.0),
    ):
        other = degrees(horizon_tangent(turn(surface), turn(eye), 1.0, turned))
        error = np.abs(other - turn(base))
        assert np.sqrt(np.mean(error**2)) <= 0.03 * math.sqrt(2) and np.percentile(error, 99) <= 0.1


@pytest.mark.parametrize("azimuth", [20.0, 70.0])
def test_window_with_its_origin_repeats_the_whole(farm, azimuth):
    surface, eye = farm
    whole = horizon_tangent(surface, eye, 1.0, azimuth)
    # All that lies ahead (north and east) is in the window, but its rows and columns start elsewhere.
    window = horizon_tangent(surface[:201, 37:], eye[:201, 37:], 1.0, azimuth, Rays(origin=(0, 37)))
    np.testing.assert_array_equal(window[:, 1:], whole[:201, 38:])
    low = surface.copy()
    low[:41] = low[:, 190:] = low.min()  # nothing above the eyes is cut off
    whole = horizon_tangent(low, eye, 1.0, azimuth)
    window = horizon_tangent(low[31:, :200], eye[31:, :200], 1.0, azimuth, Rays(origin=(31, 0)))
    np.testing.assert_array_equal(window, whole[31:, :200])


def test_adding_a_height_changes_nothing(farm):
    surface, eye = farm
    base = horizon_tangent(surface, eye, 1.0, 28.0)
    lifted = horizon_tangent(surface + np.float32(64), eye + np.float32(64), 1.0, 28.0)
    assert np.percentile(np.abs(degrees(base) - degrees(lifted)), 99.9) < 0.01  # float32 rounding of the heights


@pytest.mark.skipif(numba.config.NUMBA_NUM_THREADS < 2, reason="one core")
def test_threads_do_not_matter(farm):
    surface, eye = (np.tile(a, (3, 5)) for a in farm)
    answers = []
    for threads in (1, 2):
        numba.set_num_threads(threads)
        answers.append([horizon_tangent(surface, eye, 1.0, azimuth) for azimuth in (0.0, 33.0, 118.0)])
    np.testing.assert_array_equal(*answers)


def test_what_memory_held_before_does_not_matter():
    """A line that holds nothing yet, beside one whose horizon has changed, is looked at too: nothing is there, whatever lies in memory."""
    rng = np.random.default_rng(5)
    surface = np.round(rng.random((400, 380)) * 640).astype(np.float32) / 64
    known = np.zeros(surface.shape, bool)
    for row, column in rng.integers(0, 370, (150, 2)):
        known[row : row + 12, column : column + 3] = True
    surface[~known] = np.nan
    answers = []
    for before in (0.0, 50.0):
        dirt = [
            np.full(1 << size, before, np.float32) for size in (22, *(20, 19, 18) * 6)
        ]  # the first makes room for others to be kept
        del dirt
        answers.append([horizon_tangent(surface, np.zeros_like(surface), 1.0, azimuth) for azimuth in (20.0, 250.0)])
    np.testing.assert_array_equal(*answers)


def test_curved_earth_lowers_a_distant_ridge():
    drop = earth_drop_per_m()
    assert drop == pytest.approx(0.87 / (2 * 6_371_000))
    surface = np.zeros((1200, 5), np.float32)
    surface[0] = 100.0
    got = horizon_tangent(surface, np.zeros_like(surface), 20.0, 0.0, Rays(drop))[1000, 2]
    assert got == pytest.approx(100.0 / 20_000 - drop * 20_000, rel=1e-5)  # 1.4 m drop per 4.5 km, 27.3 m at 20 km


def test_profile_names_the_blocker(farm):
    surface, eye = farm
    got = horizon_profile(surface, 130, 90, eye[130, 90], 1.0, AZIMUTHS)
    want = [reference_tangent(surface, eye, 1.0, a, [(130, 90)])[0] for a in AZIMUTHS]
    np.testing.assert_allclose(got.horizon_deg, degrees(want), atol=1e-6)
    seen = got.horizon_deg > 0
    rise = (got.blocker_m - eye[130, 90]) / got.distance_m
    np.testing.assert_allclose(degrees(rise[seen]), got.horizon_deg[seen], atol=1e-6)
    wall = np.zeros((50, 50), np.float32)
    wall[10] = 7.0
    one = horizon_profile(wall, 30, 25, 0.0, 2.0, [0.0, 180.0])
    assert one.distance_m[0] == 40.0 and one.blocker_m[0] == 7.0
    assert one.horizon_deg[1] == 0.0 and np.isnan(one.distance_m[1]) and np.isnan(one.blocker_m[1])


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda a: horizon_tangent(a, a[:, 1:], 1.0, 0.0), "one shape"),
        (lambda a: horizon_tangent(a[0], a[0], 1.0, 0.0), "2-D"),
        (lambda a: horizon_tangent(a[:0], a[:0], 1.0, 0.0), "at least one cell"),
        (lambda a: horizon_tangent(a, a, 0.0, 0.0), "positive cell size"),
        (lambda a: horizon_tangent(a, a, 1.0, math.nan), "finite angle"),
        (lambda a: cast_shadow(a, a, 1.0, 0.0, 91.0), "-90 to 90"),
        (lambda a: horizon_profile(a, 9, 0, 0.0, 1.0, [0.0]), "outside"),
        (lambda a: horizon_profile(a, 0, 0, math.nan, 1.0, [0.0]), "expected a height"),
        (lambda a: earth_drop_per_m(0.13, 0.0), "positive radius"),
    ],
)
def test_bad_input_is_refused(call, message):
    with pytest.raises(ValueError, match=message):
        call(np.zeros((4, 4), np.float32))
