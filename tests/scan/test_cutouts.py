"""Stacked windows: each is the ground round its placement, and what kernels say of its middle is what they say in the whole ground."""

from __future__ import annotations

import numpy as np
import pytest

from tunnelsite.kernels.terrain.grading import graded_pads
from tunnelsite.kernels.terrain.planes import rectangle_planes
from tunnelsite.scan import cutouts as module
from tunnelsite.scan.cutouts import cutouts


def _ground() -> np.ndarray:
    r, c = np.mgrid[0:60, 0:70]
    noise = np.random.default_rng(3).normal(0, 0.05, r.shape)
    ground = (300 + 0.03 * r - 0.02 * c + 0.2 * np.sin(c / 5) + noise).astype(np.float32)
    ground[20, 30] = np.nan
    return ground


@pytest.mark.parametrize("together", [1 << 22, 1000])
def test_the_middle_of_a_window_is_its_placement(monkeypatch, together: int) -> None:
    monkeypatch.setattr(module, "CELLS", together)
    ground = _ground()
    rows, cols = np.array([0, 30, 59, 12, 20]), np.array([0, 35, 69, 50, 30])
    planes = rectangle_planes(ground, 9.0, 5.0, 1.0)
    whole = graded_pads(ground, rows, cols, 9.0, 5.0, 1.0)
    parts = list(cutouts(ground, (rows, cols), (12, 14)))
    assert (len(parts) == 1) == (together > 1000)
    assert [k for one in parts for k in range(one.part.start, one.part.stop)] == list(range(5))
    for one in parts:
        assert np.array_equal(np.flatnonzero(one.middles()) // one.ground.shape[1], one.rows)
        at = (one.rows, one.col)
        there = (rows[one.part], cols[one.part])
        heights = one.ground[at] + one.middle_m
        assert np.allclose(heights, ground[there], equal_nan=True)
        found = rectangle_planes(one.ground, 9.0, 5.0, 1.0)
        for name in ("slope_along", "slope_across", "rms_m", "crown_m"):
            assert np.allclose(getattr(found, name)[at], getattr(planes, name)[there], rtol=1e-5, equal_nan=True), name
        graded = graded_pads(one.ground, one.rows, np.full(len(one.rows), one.col), 9.0, 5.0, 1.0)
        assert np.allclose(graded.cut_m3, whole.cut_m3[one.part], rtol=1e-5, equal_nan=True)
        assert np.allclose(graded.level_m + one.middle_m, whole.level_m[one.part], rtol=1e-6, equal_nan=True)
