"""Windows of a raster: what lies in them is as it is without them, and what lies elsewhere is not looked at where that is dear."""

from __future__ import annotations

from unittest import mock

import numpy as np
import pytest

from tunnelsite.core.errors import UsageError
from tunnelsite.core.layers import Layer
from tunnelsite.processes import hilltops, level_patches
from tunnelsite.processes.wanted_cells import Wanted, wanted_of

WINDOWS = np.array([(3.0, 40.0, 10.0, 55.0), (101.0, 160.0, 97.0, 144.0)])


def given(windows: np.ndarray) -> dict[str, Layer]:
    return {"windows": Layer(windows, "1, 1, 1, 1", "")}


def ridges_and_ponds() -> Layer:
    """Two ridges and two ponds with banks: one of each lies in a window, one beside it."""
    row, col = np.mgrid[0:200, 0:200].astype(float)
    heights = 0.03 * col + 18 * np.exp(-(((row - 20) / 30) ** 2)) + 18 * np.exp(-(((row - 180) / 30) ** 2))
    for middle in ((130, 120), (70, 170)):
        away, level = np.hypot(row - middle[0], col - middle[1]), 0.03 * middle[1] + 4
        heights[away < 18] = level + 1
        heights[away <= 13] = level
    noise = np.random.default_rng(3).normal(0, 0.02, heights.shape)
    return Layer((heights + noise).astype(np.float32), "m", "")


def in_windows(values: np.ndarray) -> list[np.ndarray]:
    return [values[top:bottom, left:right] for top, bottom, left, right in WINDOWS.astype(int)]


@pytest.mark.parametrize(
    ("process", "name"), [(hilltops.PROCESS, "topographic_factor"), (level_patches.PROCESS, "water_like")]
)
def test_windows_get_what_the_whole_gives(process, name) -> None:
    ground = ridges_and_ponds()
    whole = process({"ground": ground})[name].values
    part = process({"ground": ground} | given(WINDOWS))[name].values
    for one, other in zip(in_windows(whole), in_windows(part), strict=True):
        np.testing.assert_array_equal(one, other)
    assert max(one.max() for one in in_windows(whole)) > max(one.min() for one in in_windows(whole))
    assert (whole != part).any()  # the other ridge or pond


def test_places_without_a_wanted_cell_are_not_looked_at() -> None:
    with mock.patch.object(hilltops, "greatest_factor", side_effect=hilltops.greatest_factor) as called:
        hilltops.PROCESS({"ground": ridges_and_ponds()} | given(WINDOWS))
    asked = called.call_args.args[2]
    np.testing.assert_array_equal(asked, Wanted(WINDOWS.astype(int), (200, 200)).blocks(10, 1))
    assert 0 < asked.sum() < 0.4 * asked.size


@pytest.mark.parametrize("side", [1, 3, 10])
@pytest.mark.parametrize("around", [0, 1])
def test_blocks_are_those_that_hold_a_wanted_cell_and_those_round_them(side: int, around: int) -> None:
    shape = (157, 203)
    wanted = Wanted(np.array([(0, 7, 196, 203), (30, 31, 30, 31), (150, 157, 0, 20)]), shape)
    cells = wanted.cells()
    expected = np.zeros((-(-shape[0] // side), -(-shape[1] // side)), bool)
    for row, col in np.argwhere(cells):
        i, j = row // side, col // side
        expected[max(i - around, 0) : i + around + 1, max(j - around, 0) : j + around + 1] = True
    np.testing.assert_array_equal(wanted.blocks(side, around), expected)
    assert cells.sum() == 49 + 1 + 140 and wanted.box == (0, 157, 0, 203)


@pytest.mark.parametrize("bad", [(0.0, 9.0, 0.0, 1e6), (5.0, 5.0, 0.0, 4.0), (-1.0, 5.0, 0.0, 4.0), (0.0, 1.0, 2.0)])
def test_windows_beyond_the_ground_are_refused(bad) -> None:
    with pytest.raises(UsageError, match="hilltops: windows"):
        wanted_of(given(np.array([bad])), (20, 20), "hilltops")
