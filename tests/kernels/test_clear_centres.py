"""Blocked and overlapping centres against shapely at every placement."""

import numba
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from tunnelsite.kernels.clear_centres import Lattice, blocked_centres, overlapping_centres

LATTICE = Lattice(-3.3, 41.7, 1.0, 45, 52)
TIE_M = 1e-7


def centres(lattice):
    east = lattice.west_m + (np.arange(lattice.cols) + 0.5) * lattice.cell_m
    north = lattice.north_m - (np.arange(lattice.rows) + 0.5) * lattice.cell_m
    return np.meshgrid(east, north)


def boxes(lattice, half_length, half_width):
    east, north = centres(lattice)
    return shapely.box(east - half_length, north - half_width, east + half_length, north + half_width)


def edges(polygon):
    rings = [np.asarray(ring.coords) for ring in (polygon.exterior, *polygon.interiors)]
    return np.concatenate([np.hstack([ring[:-1], ring[1:]]) for ring in rings])


def star(seed, whole=False):
    """An invented parcel: a wobbly ring with holes; corners on whole metres make ties and level or upright
    edges."""
    rng = np.random.default_rng(seed)
    angle = np.sort(rng.uniform(0, 2 * np.pi, rng.integers(4, 14)))
    radius = rng.uniform(6, 24, angle.size)
    ring = np.stack([22 + radius * np.cos(angle), 20 + radius * np.sin(angle)], axis=1)
    polygon = shapely.Polygon(np.round(ring) if whole else ring).buffer(0)
    for _ in range(rng.integers(0, 4)):
        e, n = rng.uniform(5, 40, 2)
        hole = shapely.box(e, n, e + rng.uniform(0.2, 5), n + rng.uniform(0.2, 5))
        polygon = polygon.difference(shapely.Polygon(np.round(hole.exterior.coords)) if whole else hole)
    return max(shapely.get_parts(polygon), key=lambda part: part.area, default=polygon)


@pytest.mark.parametrize("size", [(4.0, 1.5), (3.37, 2.21), (0.3, 0.4)])
@pytest.mark.parametrize("whole", [False, True])
@pytest.mark.parametrize("seed", range(12))
def test_inside_and_not_blocked_is_wholly_within(seed, whole, size):
    polygon = star(seed, whole)
    if polygon.area == 0.0:
        pytest.skip("the invented parcel has no area")
    east, north = centres(LATTICE)
    clear = shapely.contains_xy(polygon, east, north) & ~blocked_centres(edges(polygon), *size, LATTICE)
    shrunk = shapely.covers(polygon, boxes(LATTICE, size[0] - TIE_M, size[1] - TIE_M))
    grown = shapely.covers(polygon, boxes(LATTICE, size[0] + TIE_M, size[1] + TIE_M))
    assert (clear <= shrunk).all()
    assert (clear >= grown).all()


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(*[st.floats(-8, 52)] * 4), min_size=1, max_size=6),
    st.floats(0.1, 9),
    st.floats(0.1, 9),
)
def test_segments_meet_rectangles(segments, half_length, half_width):
    got = blocked_centres(np.array(segments), half_length, half_width, LATTICE)
    lines = shapely.linestrings(np.array(segments).reshape(-1, 2, 2))
    surely = np.zeros(got.shape, bool)
    maybe = np.zeros(got.shape, bool)
    less, more = (boxes(LATTICE, half_length + d, half_width + d) for d in (-TIE_M, TIE_M))
    shapely.prepare(lines)
    for line in lines:
        surely |= shapely.intersects(line, less)
        maybe |= shapely.intersects(line, more)
    assert (surely <= got).all()
    assert (got <= maybe).all()


LEVEL = Lattice(0.0, 20.0, 1.0, 20, 20)


@pytest.mark.parametrize(
    ("segment", "count"),
    [
        ((0.0, 10.0, 20.0, 10.0), 2 * 20),  # level, between rows: reaches 1.5 m less than 1.6 either side
        ((10.0, 0.0, 10.0, 20.0), 6 * 20),  # upright: centres 0.5, 1.5, 2.5 m off, under 2.6
        ((9.5, 9.5, 9.5, 9.5), 5 * 3),  # one point on a centre: 0, 1, 2 m and 0, 1 m off
        ((-50.0, 10.5, -40.0, 10.5), 0),  # off the lattice
        ((-1e6, 10.5, 1e6, 10.5), 3 * 20),
    ],
)
def test_counted_by_hand(segment, count):
    half_width = 1.4 if segment[1] == 10.0 and segment[0] == 0.0 else 1.6
    assert blocked_centres(np.array([segment]), 2.6, half_width, LEVEL).sum() == count


def test_touching_is_allowed():
    # The centre 10.5, 10.5 with halves 2 and 1 reaches exactly to these lines.
    for segment in (
        (12.5, 0, 12.5, 20),
        (8.5, 0, 8.5, 20),
        (0, 11.5, 20, 11.5),
        (0, 9.5, 20, 9.5),
        (12.5, 11.5, 15, 15),
    ):
        assert not blocked_centres(np.array([segment], float), 2.0, 1.0, LEVEL)[9, 10]
    assert blocked_centres(np.array([[12.5 - 1e-6, 0, 12.5 - 1e-6, 20]]), 2.0, 1.0, LEVEL)[9, 10]


def test_no_segments_block_nothing():
    assert not blocked_centres(np.empty((0, 4)), 2.0, 1.0, LEVEL).any()


def test_many_segments_one_or_more_threads():
    rng = np.random.default_rng(3)
    lattice = Lattice(0.0, 300.0, 1.0, 300, 400)
    start = rng.uniform(0, 400, (20_000, 2))
    segments = np.hstack([start, start + rng.normal(0, 1, start.shape)])
    before = numba.get_num_threads()
    try:
        numba.set_num_threads(1)
        one = blocked_centres(segments[:300], 3.3, 1.2, lattice)
    finally:
        numba.set_num_threads(before)
    np.testing.assert_array_equal(blocked_centres(segments[:300], 3.3, 1.2, lattice), one)
    parts = [blocked_centres(part, 3.3, 1.2, lattice) for part in np.array_split(segments, 7)]
    np.testing.assert_array_equal(np.any(parts, axis=0), blocked_centres(segments, 3.3, 1.2, lattice))


def test_refuses_what_cannot_be_meant():
    with pytest.raises(ValueError, match=r"\[n, 4\]"):
        blocked_centres(np.zeros((3, 2)), 2.0, 1.0, LEVEL)
    with pytest.raises(ValueError, match="finite"):
        blocked_centres(np.full((1, 4), np.nan), 2.0, 1.0, LEVEL)
    with pytest.raises(ValueError, match="positive"):
        blocked_centres(np.zeros((1, 4)), 0.0, 1.0, LEVEL)
    with pytest.raises(ValueError, match="k >= 3"):
        overlapping_centres(np.zeros((2, 2)), 2.0, 1.0, LEVEL)


def spread(spans, lattice):
    mask = np.zeros((lattice.rows, lattice.cols), bool)
    for row, start, stop in spans:
        assert 0 <= start < stop <= lattice.cols
        mask[row, start:stop] = True
    return mask


@settings(max_examples=80, deadline=None)
@given(
    st.lists(st.tuples(st.floats(-8, 52), st.floats(-8, 52)), min_size=3, max_size=8),
    st.floats(0.1, 9),
    st.floats(0.1, 9),
)
def test_overlap_with_a_convex_polygon(points, half_length, half_width):
    hull = shapely.MultiPoint(points).convex_hull
    if hull.geom_type != "Polygon" or hull.area < 1e-3:
        return
    got = spread(overlapping_centres(np.asarray(hull.exterior.coords), half_length, half_width, LATTICE), LATTICE)
    shapely.prepare(hull)
    surely = shapely.intersects(hull, boxes(LATTICE, half_length - TIE_M, half_width - TIE_M))
    maybe = shapely.intersects(hull, boxes(LATTICE, half_length + TIE_M, half_width + TIE_M))
    assert (surely <= got).all()
    assert (got <= maybe).all()


def test_a_turned_footprint_and_one_that_only_touches():
    angle = np.radians(20)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    corners = np.array([[-9.0, -3], [9, -3], [9, 3], [-9, 3]]) @ turn.T + (22.0, 20.0)
    got = spread(overlapping_centres(corners, 9.0, 3.0, LATTICE), LATTICE)
    want = shapely.area(shapely.intersection(shapely.Polygon(corners), boxes(LATTICE, 9.0, 3.0))) > 1e-6
    assert (got ^ want).sum() <= 2
    square = np.array([[8.0, 8.0], [12.0, 8.0], [12.0, 12.0], [8.0, 12.0]])
    mask = spread(overlapping_centres(square, 2.5, 2.5, LEVEL), LEVEL)
    assert mask.sum() == 8 * 8  # centres 6.5 .. 13.5; 5.5 and 14.5 only touch
