"""D-infinity (Tarboton 1997): facet values, planes, slow references and richdem."""

import math

import numba
import numpy as np
import pytest
import richdem as rd
from hypothesis import given
from hypothesis import strategies as st
from scipy.ndimage import gaussian_filter

from tunnelsite.kernels.water.dinfinity import flow_angle, upslope_area_dinf
from tunnelsite.kernels.water.fill import filled
from tunnelsite.kernels.water.flow import flow_direction

AZIMUTHS = [0, 45, 90, 135, 180, 225, 270, 315]
STEP = [(-1, 0), (-1, 1), (0, 1), (1, 1), (1, 0), (1, -1), (0, -1), (-1, -1)]


def angles(ground):
    full = filled(ground)
    return flow_angle(full, flow_direction(full, 1.0), 1.0)


def one_facet(e0, e1, e2, cardinal=2, side=-1):
    """Angle at the centre of a window in which only the facet cardinal (index) / diagonal (index + side)
    is below e0.
    """
    window = np.full((3, 3), 99.0)
    window[1, 1] = e0
    window[1 + STEP[cardinal][0], 1 + STEP[cardinal][1]] = e1
    diagonal = (cardinal + side) % 8
    window[1 + STEP[diagonal][0], 1 + STEP[diagonal][1]] = e2
    return flow_angle(window, flow_direction(window, 1.0), 1.0)[1, 1]


@pytest.mark.parametrize("side", [1, -1])
@pytest.mark.parametrize("cardinal", [0, 2, 4, 6])
def test_facet_values(cardinal, side):
    """[@tarboton-1997] facet equations: e0 10 with (e1, e2) giving the angle in
    radians.

    9, 8.5: 0.463648; 9, 9.5 (s2 < 0): 0; 9.5, 8 (beyond pi/4): pi/4.
    """
    cases = ((9, 8.5, 0.463648, 1e-6), (9, 9.5, 0, 1e-12), (9.5, 8, math.pi / 4, 1e-9))
    for e1, e2, expected, tolerance in cases:
        off = (one_facet(10, e1, e2, cardinal, side) - 45 * cardinal) * side % 360
        assert math.radians(off) == pytest.approx(expected, abs=tolerance)


def test_shares():
    """Angle 0.463648 of pi/4 parts 0.590334 to the diagonal and 0.409666 to the cardinal neighbour."""
    angle = np.full((3, 3), -1.0)
    angle[1, 1] = 90 - math.degrees(math.atan(0.5))  # between east and north-east
    area, _ = upslope_area_dinf(angle, 1.0)
    assert area[0, 2] - 1 == pytest.approx(0.590334, abs=1e-6)
    assert area[1, 2] - 1 == pytest.approx(0.409666, abs=1e-6)
    assert area.sum() == pytest.approx(10)  # the centre's own unit is counted again where it goes


@given(azimuth=st.floats(0, 359.999), grade=st.floats(1e-4, 3))
def test_on_a_plane_the_angle_is_the_way_down(azimuth, grade):
    """Property of the method: any plane, 1e-9."""
    row, col = np.mgrid[:6, :7]
    a = math.radians(azimuth)
    got = angles(-grade * (col * math.sin(a) - row * math.cos(a)))[1:-1, 1:-1]
    assert np.abs((got - azimuth + 180) % 360 - 180).max() < 1e-9


def angles_slowly(z, r, c):
    """Angles of the steepest of the eight facets round one cell: several where they tie,
    none where nothing falls.
    """
    found = []
    for k in range(0, 8, 2):
        for side in (1, -1):
            j = (k + side) % 8
            e0, e1, e2 = z[r, c], z[r + STEP[k][0], c + STEP[k][1]], z[r + STEP[j][0], c + STEP[j][1]]
            angle, fall = math.atan2(e1 - e2, e0 - e1), math.hypot(e0 - e1, e1 - e2)
            if angle < 0:
                angle, fall = 0.0, e0 - e1
            elif angle > math.pi / 4:
                angle, fall = math.pi / 4, (e0 - e2) / math.sqrt(2)
            if fall > 0:
                found.append((fall, (45 * k + side * math.degrees(angle)) % 360))
    return [angle for fall, angle in found if fall > max(found)[0] * (1 - 1e-12)]


def area_slowly(angle, weights):
    """Hand water on from cell to cell in order of a depth-first search."""
    total, state = np.array(weights, float), np.zeros(angle.shape, int)
    inflow = {at: [] for at in np.ndindex(angle.shape)}
    for at in np.ndindex(angle.shape):
        if angle[at] >= 0:
            k = int(angle[at] // 45)
            part = angle[at] / 45 - k
            for j, share in ((k, 1 - part), ((k + 1) % 8, part)):
                to = at[0] + STEP[j][0], at[1] + STEP[j][1]
                if share > 0 and to in inflow:
                    inflow[to].append((at, share))

    def settle(at):
        if state[at] == 0:
            state[at] = 1
            total[at] += sum(share * settle(other) for other, share in inflow[at])
            state[at] = 2
        assert state[at] == 2, "loop"
        return total[at]

    for at in np.ndindex(angle.shape):
        settle(at)
    return total


@given(seed=st.integers(0, 10**6), gaps=st.sampled_from([0.0, 0.05]), levels=st.sampled_from([None, 5]))
def test_angle_and_area_equal_the_slow_references(seed, gaps, levels):
    rng = np.random.default_rng(seed)
    ground = rng.normal(size=(12, 11)) + 5
    if levels:
        ground = rng.integers(0, levels, ground.shape).astype(float)
    ground[rng.random(ground.shape) < gaps] = np.nan
    full = filled(ground)
    direction = flow_direction(full, 1.0)
    angle = flow_angle(full, direction, 1.0)
    for r, c in np.ndindex(10, 9):
        want = angles_slowly(full, r + 1, c + 1)
        if want:
            assert min(abs((angle[r + 1, c + 1] - w + 180) % 360 - 180) for w in want) < 1e-9
        else:
            assert angle[r + 1, c + 1] % 45 == 0 or not angle[r + 1, c + 1] >= 0  # D8, outlet or no data
    assert np.array_equal(np.isnan(angle), np.isnan(full))
    assert np.array_equal(angle == -1, direction == 0)
    weights = rng.random(full.shape)
    area, open_edge = upslope_area_dinf(angle, 3.0, weights)
    known = ~np.isnan(full)
    np.testing.assert_allclose(area[known], area_slowly(angle, weights * 9)[known], rtol=1e-10)
    assert area[angle == -1].sum() == pytest.approx(9 * weights[known].sum())  # conservation
    unknown = np.isnan(np.pad(full, 1, constant_values=np.nan))
    unknown = np.lib.stride_tricks.sliding_window_view(unknown, (3, 3)).any((2, 3)) & known
    assert np.array_equal(open_edge, known & (area_slowly(angle, unknown) > 0))


def hills(rows, cols, seed=1):
    rng = np.random.default_rng(seed)
    return gaussian_filter(rng.normal(size=(rows, cols)), 3) * 100 + rng.normal(size=(rows, cols)) * 0.1


def proportions_of(angle):
    """As richdem stores them: column 0 whether anything flows,
    columns 1-8 the shares to W NW N NE E SE S SW.
    """
    shares = np.full((*angle.shape, 9), -1, np.float32)
    shares[..., 0] = np.where(angle >= 0, 0, -1)
    eighths = np.where(angle >= 0, angle, 0) / 45
    first = eighths.astype(int)
    for column, k in enumerate((6, 7, 0, 1, 2, 3, 4, 5), 1):
        part = eighths - first
        share = np.where(first == k, 1 - part, np.where((first + 1) % 8 == k, part, 0))
        shares[..., column] = np.where((angle >= 0) & (share > 0), share, -1)
    return shares


def test_area_equals_richdem():
    """Oracle: richdem FlowAccumFromProps fed with our shares;
    it lets nothing flow out of the outermost cells.
    """
    angle = angles(hills(300, 260).astype(np.float32))
    angle[[0, -1]], angle[:, [0, -1]] = -1, -1
    shares = rd.rd3array(proportions_of(angle), no_data=-2, geotransform=[0, 1, 0, 0, 0, -1])
    want = np.asarray(rd.FlowAccumFromProps(shares))
    np.testing.assert_allclose(upslope_area_dinf(angle, 1.0)[0], want, rtol=1e-4)


def test_angle_agrees_with_richdem_but_for_its_swapped_shares():
    """Oracle: richdem FlowProportions Dinf (richdem2): the angles are ours, the two shares are swapped.

    It hands the larger share to the FARTHER neighbour: a plane falling to 30 degrees gives N 0.667 and
    NE 0.333 where Tarboton's equation 6 gives 1/3 and 2/3.
    """
    full = hills(200, 220)  # not filled: lakes would tie
    angle = flow_angle(full, flow_direction(full, 1.0), 1.0)
    theirs = np.asarray(
        rd.FlowProportions(rd.rdarray(full, no_data=-9999, geotransform=[0, 1, 0, 0, 0, -1]), method="Dinf")
    )[1:-1, 1:-1]
    shares = np.clip(theirs[..., 1:], 0, 1)
    parted = ((shares > 0).sum(-1) == 2) & (theirs[..., 0] == 0)
    ours = np.clip(proportions_of(angle)[1:-1, 1:-1, 1:], 0, 1)
    swapped = np.where(shares > 0, 1 - shares, 0)
    assert parted.mean() > 0.3
    assert np.abs(ours - swapped)[parted].max() < 1e-5
    assert np.abs(ours - shares)[parted].max() > 0.5


def test_a_cone_sheds_evenly_all_round():
    """[@cone-area]: on a cone the specific area at radius r is r/2; D-infinity comes close,
    D8 does not.
    """
    row, col = np.mgrid[:201, :201] - 100.0
    radius = np.hypot(row, col)
    area, _ = upslope_area_dinf(angles(200.0 - radius), 1.0)
    ring = (radius > 60) & (radius < 80)
    # every step goes one row (or column) on, so a cell carries what crosses one cell width of that row
    width = np.maximum(np.abs(row), np.abs(col))[ring] / radius[ring]
    ratio = area[ring] / width / (radius[ring] / 2)
    assert abs(np.median(ratio) - 1) < 0.1 and ratio.std() < 0.35


def test_threads_and_blocks_do_not_change_a_bit():
    angle = angles(hills(700, 80, 5).astype(np.float32))
    many = upslope_area_dinf(angle, 1.0)
    threads = numba.get_num_threads()
    try:
        numba.set_num_threads(1)
        one = upslope_area_dinf(angle, 1.0)
        assert np.array_equal(angle, angles(hills(700, 80, 5).astype(np.float32)))
    finally:
        numba.set_num_threads(threads)
    assert all(np.array_equal(a, b) for a, b in zip(many, one, strict=True))
    # mirrored: the same order of neighbours no longer holds, so only to rounding
    flipped, _ = upslope_area_dinf(np.where(angle < 0, -1, (360 - angle) % 360)[:, ::-1], 1.0)
    np.testing.assert_allclose(flipped[:, ::-1], many[0], rtol=1e-4)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: flow_angle(np.zeros((3, 3)), np.zeros((3, 4), np.uint8), 1.0), r"shape \(3, 4\)"),
        (lambda: flow_angle(np.zeros((3, 3)), np.zeros((3, 3), np.uint8), -1.0), r"cell_m is -1.0"),
        (lambda: upslope_area_dinf(np.zeros((3, 3)), 0.0), r"cell_m is 0.0"),
        (lambda: upslope_area_dinf(np.zeros((3, 3)), 1.0, np.zeros(3)), r"weights have shape \(3,\)"),
        (lambda: upslope_area_dinf(np.full((3, 3), 400.0), 1.0), r"9 angles are 360"),
        (lambda: upslope_area_dinf(np.array([[90.0, 270.0, -1.0]]), 1.0), r"loop \(2 cells"),
    ],
)
def test_nonsense_is_refused_in_words(call, words):
    with pytest.raises(ValueError, match=words):
        call()
