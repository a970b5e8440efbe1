"""Expected marks and the expected steeper slope, against simulation and limits."""

from __future__ import annotations

import numpy as np
import pytest

from tunnelsite.kernels.expected import expected_excess, expected_marks, steeper_slope

NORMAL = np.random.default_rng(8).standard_normal(400_000)
OTHER = np.random.default_rng(9).standard_normal(400_000)


@pytest.mark.parametrize("curve", [(0.5, 5.0), (5.0, 0.5), (-0.1, 0.0)])
@pytest.mark.parametrize("share", [-0.6, 0.0, 0.2, 0.5, 0.9, 1.0, 1.7])
@pytest.mark.parametrize("wide", [0.02, 0.3, 0.99])
def test_expected_marks_are_the_mean_over_the_error(curve, share: float, wide: float) -> None:
    full, none = curve
    mean, se = none + share * (full - none), wide * abs(full - none)
    simulated = np.clip((mean + se * NORMAL - none) / (full - none), 0, 1).mean()
    assert expected_marks(np.array([mean]), np.array([se]), full, none)[0] == pytest.approx(simulated, abs=2e-3)


def test_exact_measures_keep_their_marks() -> None:
    at = np.linspace(-2, 8, 101)
    assert np.array_equal(expected_marks(at, 0.0, 0.5, 5.0), np.clip((at - 5.0) / (0.5 - 5.0), 0, 1))
    assert expected_marks(at, 1e-9, 0.5, 5.0) == pytest.approx(np.clip((at - 5.0) / (0.5 - 5.0), 0, 1), abs=1e-8)


def test_an_error_can_only_cost_where_a_place_has_full_marks() -> None:
    errors = np.linspace(0.0, 4.5, 40)
    marks = expected_marks(np.full(40, 0.5), errors, 0.5, 5.0)
    assert marks[0] == 1.0 and (np.diff(marks) < 0).all()


def test_what_says_nothing_is_not_assessed() -> None:
    """An error wider than the whole curve, and what is not known, earn nothing, not the middle."""
    assert np.isnan(expected_marks(np.array([0.0, np.nan, 1.0]), np.array([4.51, 0.1, np.nan]), 0.5, 5.0)).all()
    assert np.isfinite(expected_marks(np.array([0.0]), np.array([4.5]), 0.5, 5.0)).all()


@pytest.mark.parametrize("slopes", [(0.0, 0.0), (0.5, -0.3), (-2.0, 0.1), (1.0, 1.0)])
@pytest.mark.parametrize("errors", [(0.07, 0.24), (0.3, 0.3), (1.0, 0.2)])
def test_steeper_slope_against_simulation(slopes, errors) -> None:
    drawn = np.maximum(np.abs(slopes[0] + errors[0] * NORMAL), np.abs(slopes[1] + errors[1] * OTHER))
    mean, se = (float(part) for part in steeper_slope(*slopes, *errors))
    assert mean == pytest.approx(drawn.mean(), rel=0.04)
    assert se == pytest.approx(drawn.std(), rel=0.18)


def test_steeper_slope_without_errors_is_the_measured_one() -> None:
    mean, se = steeper_slope(np.array([0.2, -3.0]), np.array([-0.7, 1.0]), 0.0, 0.0)
    assert mean.tolist() == pytest.approx([0.7, 3.0]) and se.tolist() == [0.0, 0.0]
    assert np.isnan(steeper_slope(0.1, 0.2, np.nan, 0.1).mean)


@pytest.mark.parametrize("limit", [0.0, 0.5])
def test_expected_excess_is_that_of_an_integral(limit):
    """Against the normal density summed over points."""
    x = np.linspace(-12, 12, 240_001)
    mean, se = np.array([0.0, 0.4, -0.6, 3.0, 1.0, np.nan]), np.array([1.0, 0.3, 0.5, 0.1, 0.0, 1.0])
    found = expected_excess(mean, se, limit)
    for k in range(4):
        density = np.exp(-0.5 * ((x - mean[k]) / se[k]) ** 2)
        density /= density.sum()
        assert found.mean[k] == pytest.approx((np.maximum(abs(x) - limit, 0) * density).sum(), abs=1e-6)
        assert found.chance[k] == pytest.approx(density[abs(x) > limit].sum(), abs=1e-3)
    assert (found.mean[4], found.chance[4]) == (1.0 - limit, 1.0)
    assert np.isnan([found.mean[5], found.chance[5]]).all()
