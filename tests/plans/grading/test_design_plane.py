"""The least-volume plane against brute force, closed forms and the quick plane."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tunnelsite.core.errors import UsageError
from tunnelsite.kernels.terrain.grading import FINISHED_SLOPE, graded_pads
from tunnelsite.plans.grading.design_plane import PlaneLimits, least_volume_plane, surplus_m3


def lattice(rows: int, cols: int):
    v, u = np.mgrid[0:rows, 0:cols].astype(float)
    return (u - (cols - 1) / 2).ravel(), ((rows - 1) / 2 - v).ravel()


def moved(heights, areas, plane, u, v) -> float:
    return float((areas * abs(heights - plane.height(u, v))).sum())


def balanced_levels(rests, areas, shrink: float) -> np.ndarray:
    """Slow reference: level of each row of heights at which cut = shrink x fill, by bisection."""
    low, high = rests.min(axis=1) - 1, rests.max(axis=1) + 1
    for _ in range(60):
        middle = (low + high) / 2
        over = rests - middle[:, None]
        falls = (areas * np.where(over > 0, over, shrink * over)).sum(axis=1) > 0
        low, high = np.where(falls, middle, low), np.where(falls, high, middle)
    return (low + high) / 2


@pytest.mark.parametrize("shrink", [0.8, 1.0, 1.3])
@pytest.mark.parametrize("seed", range(4))
def test_against_brute_force_on_a_coarse_lattice(seed: int, shrink: float) -> None:
    numbers = np.random.default_rng(seed)
    u, v = lattice(5, 9)
    areas = numbers.uniform(0.3, 1.0, u.size)
    z = 10 + 0.01 * u - 0.004 * v + numbers.normal(0, 0.05, u.size)
    plane = least_volume_plane(z, areas, u, v, PlaneLimits(shrink=shrink))
    slopes = np.linspace(-FINISHED_SLOPE, FINISHED_SLOPE, 41)
    along, across = (way.reshape(-1, 1) for way in np.meshgrid(slopes, slopes))
    rests = z - along * u - across * v
    best = float((areas * abs(rests - balanced_levels(rests, areas, shrink)[:, None])).sum(axis=1).min())
    found = moved(z, areas, plane, u, v)
    assert found <= best + 1e-7
    # the lattice's nearest slopes differ by half a step, which moves each cell by no more than this
    step = slopes[1] - slopes[0]
    assert found >= best - 2 * (areas * step / 2 * (abs(u) + abs(v))).sum()


def test_without_balance_against_brute_force() -> None:
    numbers = np.random.default_rng(7)
    u, v = lattice(4, 6)
    z = numbers.normal(0, 0.1, u.size)
    plane = least_volume_plane(z, np.ones(u.size), u, v, PlaneLimits(surplus_m3=None))
    slopes = np.linspace(-FINISHED_SLOPE, FINISHED_SLOPE, 61)
    rests = (z - a * u - b * v for a in slopes for b in slopes)
    best = min(float(abs(rest - np.median(rest)).sum()) for rest in rests)  # the median is the least-volume level
    assert moved(z, 1.0, plane, u, v) <= best + 1e-9
    assert moved(z, 1.0, plane, u, v) == pytest.approx(best, rel=0.01)


@given(st.integers(0, 10_000), st.sampled_from([0.8, 1.0, 1.15, 1.4]))
@settings(max_examples=25, deadline=None)
def test_never_more_than_the_quick_plane_and_balanced(seed: int, shrink: float) -> None:
    numbers = np.random.default_rng(seed)
    ground = 200 + np.cumsum(numbers.normal(0, 0.05, (9, 29)), axis=1)
    u, v = lattice(9, 29)
    quick = graded_pads(ground, [4], [14], 29.0, 9.0, 1.0, shrink=shrink)
    plane = least_volume_plane(ground.ravel(), np.ones(u.size), u, v, PlaneLimits(shrink=shrink))
    off = ground.ravel() - plane.height(u, v)
    assert abs(off).sum() <= float(quick.cut_m3[0] + quick.fill_m3[0]) + 1e-6
    assert surplus_m3(off, np.ones(u.size), shrink) == pytest.approx(0.0, abs=1e-4)
    assert max(abs(plane.slope_along), abs(plane.slope_across)) <= FINISHED_SLOPE * (1 + 1e-9)


def test_saves_a_lot_where_a_few_cells_stand_out() -> None:
    """A bank at one end pulls the least-squares plane, not the least-volume one."""
    u, v = lattice(9, 29)
    z = np.where(u > 12, 1.0, 0.0)
    limits = PlaneLimits(surplus_m3=None)
    assert moved(z, 1.0, least_volume_plane(z, np.ones(u.size), u, v, limits), u, v) == pytest.approx(18.0, rel=0.02)
    quick = graded_pads(z.reshape(9, 29), [4], [14], 29.0, 9.0, 1.0)
    assert float(quick.cut_m3[0] + quick.fill_m3[0]) > 25.0


def test_deepest_cut_is_kept_and_refused_where_it_cannot_be() -> None:
    u, v = lattice(9, 29)
    z, one = 0.03 * u, np.ones(u.size)
    free = PlaneLimits(surplus_m3=None, deepest_cut_m=0.1)
    assert (z - least_volume_plane(z, one, u, v, free).height(u, v)).max() <= 0.1 + 1e-7
    with pytest.raises(UsageError, match="deeper cut"):
        least_volume_plane(z, one, u, v, PlaneLimits(deepest_cut_m=0.1))
    # Just short of what the balance needs, padding cut and fill alike would meet it on paper; it must not pass.
    swelling = PlaneLimits(shrink=0.6)
    needed = float((z - least_volume_plane(z, one, u, v, swelling).height(u, v)).max())
    least_volume_plane(z, one, u, v, PlaneLimits(shrink=0.6, deepest_cut_m=needed + 1e-6))
    with pytest.raises(UsageError, match="deeper cut"):
        least_volume_plane(z, one, u, v, PlaneLimits(shrink=0.6, deepest_cut_m=0.97 * needed))


def test_narrow_pads_have_no_slope_across() -> None:
    u, v = lattice(1, 9)
    plane = least_volume_plane(0.002 * u, np.ones(9), u, v, PlaneLimits())
    assert plane.slope_across == 0.0
    assert plane.slope_along == pytest.approx(0.002)


@pytest.mark.parametrize("change", [{"slope_along": -0.1}, {"shrink": 0.0}, {"shrink": 3.5}, {"deepest_cut_m": -1.0}])
def test_limits_that_cannot_be_meant(change: dict) -> None:
    with pytest.raises(UsageError):
        PlaneLimits(**change)


def test_unknown_heights_are_an_error() -> None:
    with pytest.raises(ValueError, match="finite"):
        least_volume_plane([1.0, np.nan], [1.0, 1.0], [0.0, 1.0], [0.0, 0.0], PlaneLimits())
