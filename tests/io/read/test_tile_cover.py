"""How much of a box the tiles of a raster hold, against a count of points."""

from __future__ import annotations

import numpy as np
import pytest
from rasterio.transform import Affine

from tests.whole_run.files import UTM17, write_dem
from tunnelsite.io.read.mosaic import mosaic
from tunnelsite.io.read.tile_cover import held_shares, known_share

BOXES = [(1, 1, 9, 9), (15, -5, 35, 25), (-50, -50, -40, -40), (12, 5, 18, 15), (0, 0, 60, 40), (29, 0, 31, 20)]


@pytest.fixture(scope="module")
def tiles(tmp_path_factory):
    """Three tiles of 20 x 20 m in an L, those at the left overlapping by 5 m; the first is empty in its left half."""
    folder = tmp_path_factory.mktemp("tiles")
    for name, west, south in (("a", 0, 0), ("b", 0, 15), ("c", 30, 0)):
        heights = np.ones((20, 20), np.float32)
        if name == "a":
            heights[:, :10] = -9999
        write_dem(folder / f"{name}.tif", heights, Affine(1, 0, west, 0, -1, south + 20), UTM17, nodata=-9999)
    return mosaic(str(folder))


def held(east: np.ndarray, north: np.ndarray) -> np.ndarray:
    left = (east >= 0) & (east < 20) & (north >= 0) & (north < 35)
    return left | ((east >= 30) & (east < 50) & (north >= 0) & (north < 20))


def known(east: np.ndarray, north: np.ndarray) -> np.ndarray:
    return held(east, north) & ~((east < 10) & (north < 15))


@pytest.mark.parametrize("box", BOXES)
def test_shares_are_those_of_points(tiles, box) -> None:
    step = 0.25
    east, north = np.meshgrid(*(np.arange(box[k], box[k + 2], step) + step / 2 for k in (0, 1)))
    assert held_shares(tiles, np.array([box], float))[0] == pytest.approx(held(east, north).mean())
    assert known_share(tiles, np.array(box, float)) == pytest.approx(known(east, north).mean())


def test_a_box_that_cannot_be_carried_lies_in_none(tiles) -> None:
    assert held_shares(tiles, np.full((1, 4), np.nan)).tolist() == [0.0]
