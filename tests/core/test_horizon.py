"""The horizon round a point: invariants, crowns, and the beam it lets through."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.sun.horizons import flat_horizon
from tunnelsite.core.horizon import Foliage, Horizon
from tunnelsite.sun.field_comparison import horizon_differences

AZIMUTHS = np.arange(0, 360, 10.0)
heights = st.lists(st.floats(0, 89), min_size=36, max_size=36).map(np.array)


@settings(max_examples=40, deadline=None)
@given(heights, st.integers(0, 35))
def test_turning_and_mirroring_change_no_sky(elevation, shift):
    here = Horizon(AZIMUTHS, elevation)
    for other in (np.roll(elevation, shift), elevation[::-1]):
        assert Horizon(AZIMUTHS, other).sky_view() == pytest.approx(here.sky_view(), abs=1e-12)
        assert Horizon(AZIMUTHS, other).sky_fraction() == pytest.approx(here.sky_fraction(), abs=1e-12)


@settings(max_examples=40, deadline=None)
@given(heights, st.floats(0, 1))
def test_a_higher_horizon_never_gives_more(elevation, raised):
    low, high = Horizon(AZIMUTHS, elevation), Horizon(AZIMUTHS, elevation + raised)
    assert high.sky_view() <= low.sky_view() + 1e-12
    sun = np.random.default_rng(3).uniform([0, 0], [360, 90], (200, 2)).T
    months = np.full(200, 6)
    assert (high.beam_factor(*sun, months) <= low.beam_factor(*sun, months)).all()


def test_uneven_readings_count_by_their_width():
    even = Horizon(np.arange(0, 360, 1.0), np.where(np.arange(360) < 180, 20.0, 0.0))
    uneven = Horizon(np.array([0.0, 60.0, 179.0, 180.0, 359.0]), np.array([20.0, 20.0, 20.0, 0.0, 0.0]))
    assert uneven.sky_view() == pytest.approx(even.sky_view(), abs=1e-9)


def test_straight_lines_pass_north():
    horizon = Horizon(np.array([10.0, 350.0]), np.array([0.0, 20.0]))
    assert horizon.along(horizon.elevation_deg, np.array([0.0, 355.0, 5.0, 360.0, 725.0])) == pytest.approx(
        [10, 15, 5, 10, 5]
    )


def test_horizon_below_level_hides_nothing():
    assert Horizon(AZIMUTHS, np.full(36, -5.0)).sky_view() == 1.0
    assert Horizon(AZIMUTHS, np.full(36, -5.0)).beam_factor([10.0], [0.1], [1]).tolist() == [1.0]


def _crowns(winter: float, base: float = 10.0) -> Horizon:
    transmission = np.full((12, 36), 0.1)
    transmission[[0, 1, 2, 10, 11]] = winter
    return Horizon(AZIMUTHS, np.full(36, 2.0), foliage=Foliage(np.full(36, 30.0), np.full(36, base), transmission))


def test_crowns_pass_their_share_and_leave_the_trunk_space_open():
    horizon = _crowns(0.6)
    found = horizon.beam_factor([90.0] * 5, [1.0, 5.0, 20.0, 20.0, 31.0], [1, 1, 1, 7, 7])
    assert found.tolist() == [0.0, 1.0, 0.6, 0.1, 1.0]
    assert horizon.sky_view(7) < horizon.sky_view(1) < 1.0
    assert horizon.sky_view() < horizon.sky_view(7)  # without a month crowns are opaque
    assert (horizon.top_deg == 30.0).all()


def test_crowns_at_their_limits_are_nothing_or_a_wall():
    clear = _crowns(1.0)
    assert clear.sky_view(1) == pytest.approx(Horizon(AZIMUTHS, np.full(36, 2.0)).sky_view(), abs=1e-12)
    wall = _crowns(0.0, base=0.0)
    assert wall.sky_view(1) == pytest.approx(Horizon(AZIMUTHS, np.full(36, 30.0)).sky_view(), abs=1e-12)


def test_sky_with_crowns_by_brute_force():
    """Both sky views from a fine grid of the hemisphere."""
    horizon = _crowns(0.6)
    h = (np.arange(18_000) + 0.5) / 200
    passed = horizon.beam_factor(np.full(len(h), 90.0), h, np.full(len(h), 1))
    sine, cosine = np.sin(np.radians(h)), np.cos(np.radians(h))
    assert horizon.sky_view(1) == pytest.approx((passed * sine * cosine).sum() / (sine * cosine).sum(), abs=1e-4)
    assert horizon.sky_fraction(1) == pytest.approx((passed * cosine).sum() / cosine.sum(), abs=1e-4)


@pytest.mark.parametrize(
    ("azimuth", "elevation"), [([10, 5], [0, 0]), ([0, 360], [0, 0]), ([0, 90], [np.nan, 1]), ([], [])]
)
def test_broken_horizons_are_refused(azimuth, elevation):
    with pytest.raises(ValueError, match="horizon"):
        Horizon(np.array(azimuth, float), np.array(elevation, float))


def test_differences_forgive_a_compass_but_not_a_missing_tree():
    computed = Horizon(np.arange(0, 360, 1.0), np.where(np.abs(np.arange(360) - 180) < 10, 20.0, 1.0))
    measured = Horizon(np.array([100.0, 171.0, 180.0, 250.0]), np.array([1.5, 1.0, 20.5, 12.0]))
    found = horizon_differences(measured, computed)
    assert [item.notable for item in found] == [False, False, False, True]
    assert found[1].difference_deg == pytest.approx(0.0)  # the edge of the thing lies within two degrees
    assert found[3].difference_deg == pytest.approx(11.0)
    assert not any(item.notable for item in horizon_differences(flat_horizon(), flat_horizon()))


@pytest.mark.parametrize(
    "known", [[0.0], [17.0], [0.0, 90.0, 180.0, 270.0], np.arange(720) / 2, [1.0, 1.5, 200.0, 359.0]]
)
def test_the_nearest_azimuth_is_that_of_all_compared(known) -> None:
    """Every azimuth against every one, round the circle; of two equally near, the first."""
    horizon = Horizon(np.array(known), np.zeros(len(known)))
    wanted = np.concatenate(
        [np.random.default_rng(6).uniform(-400, 800, 400), np.arange(-360.0, 721.0, 7.5), known, [45.0, 315.0]]
    )
    gap = np.abs((wanted[:, None] - np.array(known) + 180.0) % 360.0 - 180.0)
    assert np.array_equal(horizon.nearest(wanted), np.argmin(gap, axis=1))
    assert horizon.nearest(12.0).shape == ()
