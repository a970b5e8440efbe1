"""Means over a disc, against areas by shapely and a plain loop."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from tunnelsite.kernels.disc_mean import disc_means, disc_weights


@pytest.mark.parametrize("radius", [0.5, 0.6, 1.0, 1.5, 3.0, 3.3, 7.2])
def test_weights_are_areas_of_cells_in_the_disc(radius: float) -> None:
    weights = disc_weights(radius)
    reach = len(weights) // 2
    disc = shapely.Point(0, 0).buffer(radius, quad_segs=512)
    at = np.arange(-reach, reach + 1)
    areas = [[disc.intersection(shapely.box(c - 0.5, r - 0.5, c + 0.5, r + 0.5)).area for c in at] for r in at]
    assert weights == pytest.approx(np.array(areas), abs=2e-5)
    assert weights.sum() == pytest.approx(np.pi * radius**2, rel=1e-4)


def _means(values, owner, radius):
    places = np.arange(values.size)
    return disc_means(np.ascontiguousarray(values), owner, places, radius).reshape(values.shape)


def _slow(values, owner, radius):
    weights = disc_weights(radius)
    reach = len(weights) // 2
    out = np.full(values.shape, np.nan)
    for row, col in np.argwhere((owner >= 0) & np.isfinite(values)):
        total = area = 0.0
        for down, right in np.ndindex(weights.shape):
            r, c = row + down - reach, col + right - reach
            inside = 0 <= r < values.shape[0] and 0 <= c < values.shape[1]
            if inside and owner[r, c] == owner[row, col] and np.isfinite(values[r, c]):
                total += weights[down, right] * values[r, c]
                area += weights[down, right]
        out[row, col] = total / area
    return out


@pytest.mark.parametrize("radius", [0.0, 0.7, 1.0, 3.0, 4.4])
def test_means_are_those_of_a_plain_loop(radius: float) -> None:
    rng = np.random.default_rng(1)
    values = rng.random((40, 51)) * 100
    values[:26][rng.random((26, 51)) < 0.1] = np.nan  # below lies whole ground of one owner, which is summed in vectors
    owner = rng.integers(-1, 3, values.shape).astype(np.int16)
    owner[8:17] = np.sort(owner[8:17], axis=1)
    owner[17:] = 1
    assert _means(values, owner, radius) == pytest.approx(_slow(values, owner, radius), nan_ok=True)


def test_a_mean_turns_and_mirrors_with_its_values() -> None:
    rng = np.random.default_rng(2)
    values, owner = rng.random((20, 20)), np.zeros((20, 20), np.int8)
    owner[:, 12] = -1
    found = _means(values, owner, 2.6)
    assert pytest.approx(found, nan_ok=True) == _means(values.T, owner.T, 2.6).T
    assert _means(values[::-1], owner[::-1], 2.6)[::-1] == pytest.approx(found, nan_ok=True)


def test_arrays_of_different_shapes_are_refused() -> None:
    with pytest.raises(ValueError, match="one shape"):
        disc_means(np.zeros((3, 3)), np.zeros((3, 4), np.int32), np.arange(2), 1.0)
