"""Open water in an elevation model, and ground that looks like it because its heights were rounded."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import ndimage

from tunnelsite.core.layers import Layer
from tunnelsite.processes.level_patches import PROCESS


def rolling(side: int = 240, relief_m: float = 8.0) -> np.ndarray:
    draws = np.random.default_rng(4)
    waves = ndimage.gaussian_filter(draws.normal(size=(side, side)), 22, mode="wrap")
    return 20.0 + relief_m * waves / np.ptp(waves) + draws.normal(0, 0.01, (side, side))


def water(heights: np.ndarray, **parameters) -> np.ndarray:
    ground = Layer(heights.astype(np.float32), "m", "ground", (1.0, 1.0))
    return PROCESS({"ground": ground}, parameters, lambda what, share: None)["water_like"].values


@pytest.mark.parametrize(("step", "relief_m"), [(1.0, 50.0), (0.3048, 15.0), (0.2, 8.0)])
def test_rounding_is_not_water(step: float, relief_m: float) -> None:
    """Every plateau whose rim is not lower looked like a pond; with the step known none does, and none is said to be land."""
    heights = np.round(rolling(relief_m=relief_m) / step) * step
    assert (water(heights) == 1).mean() > 0.02
    found = water(heights, height_step_m=step)
    assert not (found == 1).any() and np.isnan(found).any() and (found == 0).mean() > 0.3


@pytest.mark.parametrize("level", [14.0, 14.37])
def test_a_lake_in_rounded_heights_is_found_by_its_bank_or_its_level(level: float) -> None:
    row, col = np.mgrid[0:240, 0:240]
    away = np.hypot(row - 120, col - 120)
    heights = np.where(away < 40, level, np.round(rolling() / 0.2) * 0.2)
    assert (water(heights, height_step_m=0.2)[away < 38] == 1).all()


def test_a_hollow_in_rounded_heights_is_not_known() -> None:
    row, col = np.mgrid[0:240, 0:240]
    away = np.hypot(row - 120, col - 120)
    heights = np.round((20 + 1e-4 * away**2 + np.random.default_rng(1).normal(0, 0.005, away.shape)) / 0.2) * 0.2
    found = water(heights, height_step_m=0.2)
    assert np.isnan(found[away < 25]).all() and not (found == 1).any()


def test_without_a_step_lakes_and_voids_are_found_as_ever() -> None:
    ground = rolling()
    ground[100:140, 100:150] = ground[99:141, 99:151].min() - 0.5
    assert (water(ground)[100:140, 100:150] == 1).all() and (water(ground) == 1).mean() < 0.06
