"""Errors of the elevations as a working grid shows them, by fields made on coarse cells and interpolated."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import map_coordinates

from tunnelsite.core.elevation_error import ErrorModel, drawn_waves, error_model, field_on
from tunnelsite.core.grid import Grid
from tunnelsite.kernels.terrain.plane_error import second_difference_variance, slope_error
from tunnelsite.kernels.terrain.planes import rectangle_planes


@pytest.mark.parametrize(("own", "range_m"), [(10, 10.0), (10, 25.0), (5, 5.0)])
def test_interpolation_smooths_errors_as_claimed(own: int, range_m: float) -> None:
    """Errors of cells of `own` m, alike over `range_m`, interpolated to 1 m: variance, second differences over a cell, and slopes
    of a 29 m x 9 m plane (sd), against the wider, lower correlation. A Gaussian is not a tent: within 10 %."""
    side = 900 // own
    cells = np.arange(side) * own / range_m
    values, vectors = np.linalg.eigh(
        np.exp(-((cells[:, None] - cells) ** 2))
    )  # its square root makes such errors of noise
    root = vectors * np.sqrt(np.maximum(values, 0.0)) @ vectors.T
    coarse = 0.3 * root @ np.random.default_rng(3).normal(size=(side, side)) @ root
    at = np.meshgrid(*2 * [(np.arange(900) + 0.5) / own - 0.5], indexing="ij")
    field = map_coordinates(coarse, at, order=1, mode="nearest")
    sd, wide = ErrorModel(0.3, range_m, own_m=own).seen
    assert field.std() == pytest.approx(sd, rel=0.1)
    squares = (field[:, 2 * own :] - 2 * field[:, own:-own] + field[:, : -2 * own]) ** 2
    assert np.sqrt(squares.mean()) == pytest.approx(sd * np.sqrt(second_difference_variance(own, wide)), rel=0.1)
    planes = rectangle_planes(field.astype(np.float32), 29, 9, 1.0)
    found = [np.nanstd(planes.slope_along), np.nanstd(planes.slope_across)]
    assert found == pytest.approx(list(slope_error(29, 9, 1.0, sd, wide)), rel=0.1)


def test_what_is_assumed_goes_by_the_models_own_cells() -> None:
    assert error_model(None, None, 1.0, 1.0) == ErrorModel(0.10, 5.0, assumed=True)
    assert error_model(None, None, 0.0, 2.0) == ErrorModel(0.10, 5.0, assumed=True)
    # docs/method.md: alike over 5 m or one cell of the model, whichever is more, whether it is interpolated or not
    for working_m in (10.0, 2.0):
        assert (
            error_model(None, None, 10.0, working_m).range_m == error_model(0.3, None, 10.0, working_m).range_m == 10.0
        )
    assert error_model(None, None, 0.0, 8.0).range_m == 8.0 and error_model(0.3, 2.0, 10.0, 10.0).range_m == 2.0
    assert error_model(None, 50.0, 10.0, 2.0) == ErrorModel(0.82, 50.0, assumed=True, own_m=10.0)
    assert error_model(0.2, 0.0, 1.0, 1.0) == ErrorModel(0.2, 0.0)
    assert ErrorModel(0.2, 0.0).seen == (0.2, 0.0) and ErrorModel(0.2, 7.0).seen == (0.2, 7.0)
    assert "assumed" in error_model(None, None, 1.0, 1.0).words and "assumed" not in ErrorModel(0.1, 0.0).words


def test_a_field_on_fine_cells_is_that_of_its_waves() -> None:
    """Blocks of 0.1 m cells over errors alike over 5 m, against the sum of the waves at every cell; standard deviation 1."""
    waves = drawn_waves(np.random.default_rng(8), 5.0)
    grid = Grid("EPSG:32617", 0.1, 400, 500, 100.0, 200.0)
    rows, cols = np.array([0, 33]), np.array([7, 150])
    found = field_on(waves, grid, rows, cols, (97, 141))
    for k in range(2):
        along, across = grid.centre(rows[k] + np.arange(97)[:, None], cols[k] + np.arange(141))
        phase = np.asarray(along)[..., None] * waves.vectors[0] + np.asarray(across)[..., None] * waves.vectors[1]
        wanted = (np.exp(1j * phase) @ waves.swing).real
        np.testing.assert_allclose(found[k], wanted, atol=0.02)
        assert np.sqrt(np.mean((found[k] - wanted) ** 2)) < 0.005
