"""The step of rounded heights: found whatever the numbers, never in a model that was not rounded."""

from __future__ import annotations

import numpy as np
import pytest
from matplotlib import cbook
from scipy import ndimage

from tunnelsite.core.elevation_error import error_model
from tunnelsite.core.height_step import RANGE_STEPS, height_step, step_words
from tunnelsite.core.units import FOOT_M, US_SURVEY_FOOT_M
from tunnelsite.kernels.terrain.plane_error import slope_error


def land(seed: int = 1, side: int = 300, relief_m: float = 12.0, above_m: float = 254.3) -> np.ndarray:
    """Rough ground: rolling, with a little noise from cell to cell."""
    draws = np.random.default_rng(seed)
    rolling = ndimage.gaussian_filter(draws.normal(size=(side, side)), 25, mode="wrap")
    return above_m + relief_m * rolling / np.ptp(rolling) + draws.normal(0, 0.02, (side, side))


def found(heights: np.ndarray) -> float:
    """The step of heights in metres, as they are held: float32 above a whole datum."""
    datum = float(np.round(np.nanmedian(heights)))
    return height_step((heights - datum).astype(np.float32), datum)


@pytest.mark.parametrize("kind", ["float32", "float64"])
@pytest.mark.parametrize(
    ("step", "unit"),
    [(1, 1), (0.5, 1), (0.2, 1), (0.1, 1), (0.05, 1), (0.01, 1), (1, FOOT_M), (1, US_SURVEY_FOOT_M), (0.1, FOOT_M), (0.157, 1)],
)  # fmt: skip
@pytest.mark.parametrize("above_m", [-3.0, 254.3, 2100.7])
def test_rounded_heights_are_found_in_any_numbers(step: float, unit: float, kind: str, above_m: float) -> None:
    """Stored in `unit`, rounded to `step` of it, as float32 or float64, near the sea and high up."""
    stored = (np.round(land(above_m=above_m) / unit / step) * step).astype(kind).astype(float)
    assert found(stored * unit) == pytest.approx(step * unit, rel=2e-3)


@pytest.mark.parametrize("above_m", [-3.0, 254.3, 4100.7])
def test_a_model_that_was_not_rounded_has_no_step(above_m: float) -> None:
    """Also in float32, to the millimetre, and in short windows."""
    for seed in range(6):
        ground = land(seed, above_m=above_m)
        for side in (3, 4, 6, 10, 25, 300):
            assert found(ground[:side, :side]) == 0
            assert found(ground[:side, :side].astype(np.float32).astype(float)) == 0
        assert found(np.round(ground, 3)) == 0


def test_ramps_and_flats_drawn_by_a_formula_have_no_step() -> None:
    row, col = np.mgrid[0:80, 0:90].astype(float)
    wall = np.where((row > 30) & (row < 40), 103.0, 100.0)
    for ground in (100 + 0.05 * col, 100 + 0.01 * row + 0.02 * col, 100 + 0 * col, wall, 100 + 0.04 * abs(row - 40)):
        assert found(ground) == 0


def test_lakes_and_voids_are_no_steps() -> None:
    """Flattened lakes have levels of whole decimetres; what was filled with 0, or has no data, says nothing."""
    ground = land(relief_m=20.0)
    for k, level in enumerate((247.1, 249.4, 252.2, 255.0, 256.3, 258.8)):
        ground[20 + 40 * k : 55 + 40 * k, 60:200] = level
    assert found(ground) == 0
    ground[:, :20] = np.nan
    ground[:10] = 0.0
    assert found(ground) == 0


def test_a_step_shows_through_lakes_no_data_and_resampling() -> None:
    whole = np.round(land())
    lake = whole.copy()
    lake[50:200, 50:150] = 253.37  # flattened after rounding
    lake[:, 280:] = np.nan
    assert found(lake) == 1.0
    assert found((whole[:-1, :-1] + whole[1:, :-1] + whole[:-1, 1:] + whole[1:, 1:]) / 4) == 1.0  # half a cell aside
    assert found(ndimage.zoom(whole[:150, :150], 3, order=1)) == 1.0  # bilinear, finer cells
    assert found(np.kron(whole[:100, :100], np.ones((3, 3)))) == 1.0  # nearest


def test_flat_land_in_whole_metres_has_two_heights() -> None:
    ground = land(relief_m=0.9, above_m=201.5)
    assert set(np.unique(np.round(ground))) == {201.0, 202.0}
    assert found(np.round(ground)) == 1.0 and found(ground) == 0


def test_whole_metres_of_a_published_model() -> None:
    """The elevation model that matplotlib carries (jacksboro_fault_dem, National Elevation Dataset) is in whole metres."""
    with cbook.get_sample_data("jacksboro_fault_dem.npz") as model:
        heights = model["elevation"].astype(float)
    assert found(heights) == 1.0 and found(heights[100:140, 100:140]) == 1.0


def test_words() -> None:
    assert step_words(1.0) == "1 m" and step_words(0.2) == "0.2 m" and step_words(0.05) == "0.05 m"
    assert step_words(FOOT_M) == "1 ft (0.305 m)" and step_words(0.1 * FOOT_M) == "0.1 ft (0.0305 m)"


def test_the_error_counted_is_at_least_that_of_rounding() -> None:
    assert error_model(None, None, 1.0, 1.0, 1.0).sd_m == pytest.approx(1 / np.sqrt(12))
    stated = error_model(0.02, 3.0, 1.0, 1.0, 1.0)
    assert stated.sd_m == pytest.approx(1 / np.sqrt(12)) and stated.range_m == pytest.approx(RANGE_STEPS)
    assert stated.least_share == 1.0 and error_model(0.5, None, 1.0, 1.0, 1.0).least_share == pytest.approx(
        1 / np.sqrt(12) / 0.5
    )
    assert "steps of 1 m" in stated.words
    larger = error_model(0.5, 60.0, 1.0, 1.0, 1.0)
    assert (larger.sd_m, larger.range_m) == (0.5, 60.0)
    assert (
        error_model(None, None, 1.0, 1.0, 0.01).sd_m == 0.10 and error_model(None, None, 1.0, 1.0, 0.01).range_m == 5.0
    )


@pytest.mark.parametrize("step", [1.0, FOOT_M, 0.2])
def test_errors_of_slopes_on_rounded_planes(step: float) -> None:
    """Planes of 1 % in every direction and at every height, rounded: the error of their fitted slopes is as the error model says, along
    and across, within 45 %."""
    draws = np.random.default_rng(5)
    u, v = np.meshgrid(np.arange(29) - 14.0, np.arange(9) - 4.0)
    model = error_model(0.0, 0.0, 1.0, 1.0, step)
    told = np.array(slope_error(29, 9, 1.0, *model.seen))
    way, start = draws.uniform(0, 2 * np.pi, 3000), draws.uniform(0, step, 3000)
    plane = 0.01 * (np.cos(way)[:, None, None] * u + np.sin(way)[:, None, None] * v) + start[:, None, None]
    off = np.round(plane / step) * step - plane
    seen = [np.std((off * axis).sum((1, 2)) / (axis**2).sum()) for axis in (u, v)]
    assert (np.array(seen) > 0.67 * told).all() and (np.array(seen) < 1.45 * told).all()
