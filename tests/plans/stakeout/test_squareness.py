"""Square or not: diagonals, skew and the trap of equal diagonals."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tunnelsite.core.errors import UsageError
from tunnelsite.core.units import FOOT_M, INCH_M
from tunnelsite.plans.stakeout.squareness import diagonal_m, skew_deg

LENGTH, WIDTH = 96 * FOOT_M, 30 * FOOT_M


def _measured(corners: np.ndarray) -> tuple[list[float], list[float]]:
    """Sides A-B, B-C, C-D, D-A and diagonals A-C, B-D of four points."""
    sides = [math.dist(corners[i], corners[(i + 1) % 4]) for i in range(4)]
    return sides, [math.dist(corners[0], corners[2]), math.dist(corners[1], corners[3])]


def test_diagonal_of_30_by_96_feet() -> None:
    # Pythagoras: 100.5783 ft = 100 ft 6 15/16 in (derived).
    assert diagonal_m(LENGTH, WIDTH) / FOOT_M == pytest.approx(100.5783, abs=5e-5)
    # 9 x 15 ft: 209.9 in [@square-diagonals].
    assert diagonal_m(15 * FOOT_M, 9 * FOOT_M) / INCH_M == pytest.approx(209.9, abs=0.05)


@pytest.mark.parametrize(("inches", "degrees"), [(1.0, 0.08337), (2.0, 0.167), (0.25, 0.021)])
def test_skew_of_diagonals_that_differ(inches: float, degrees: float) -> None:
    # 30 x 96 ft, 1 in -> 0.08337 deg, 0.52 in across the 30 ft end (derived: d1^2 - d2^2 = 4 a b sin e).
    found = skew_deg(LENGTH, WIDTH, inches * INCH_M)
    assert found == pytest.approx(degrees, abs=1e-4 if inches == 1 else 5e-4)
    if inches == 1:
        assert WIDTH * math.sin(math.radians(found)) / INCH_M == pytest.approx(0.52, abs=0.005)


@given(st.floats(5, 100), st.floats(3, 50), st.floats(-20, 20))
def test_skew_is_exact_for_any_parallelogram(a: float, b: float, skew: float) -> None:
    lean = math.radians(skew)
    first = math.hypot(a + b * math.sin(lean), b * math.cos(lean))
    second = math.hypot(a - b * math.sin(lean), b * math.cos(lean))
    assert skew_deg(a, b, first - second) == pytest.approx(skew, abs=1e-6)


def test_moving_the_far_side_by_half_the_difference_squares_it() -> None:
    # What the sheet tells the crew to do: 1 in of difference, 1/2 in along the far long side.
    skew = math.radians(skew_deg(LENGTH, WIDTH, INCH_M))
    assert WIDTH * math.sin(skew) == pytest.approx(INCH_M / 2, rel=0.05)


@pytest.mark.parametrize("given_", [(30, 9, 20), (30, 9, math.nan), (0, 9, 0.1)])
def test_impossible_skew_is_refused(given_: tuple[float, float, float]) -> None:
    with pytest.raises(UsageError):
        skew_deg(*given_)
