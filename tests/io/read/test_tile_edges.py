"""Steps along the edges of tiles: found where a tile stands out, not where the ground slopes, bends or is rough."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from rasterio.transform import Affine

from tests.whole_run.files import NORTH, UTM17, WEST, write_dem
from tunnelsite.core.errors import InputRefused
from tunnelsite.io.read.height_blocks import height_blocks
from tunnelsite.io.read.mosaic import mosaic, read_mosaic
from tunnelsite.io.read.tile_edges import edge_step

SIDE = 80
BOXES = [(top, left, top + SIDE, left + SIDE) for top in (0, SIDE) for left in (0, SIDE)]


def ground(noise_m: float = 0.05) -> np.ndarray:
    """Steep, bent and rough."""
    row, col = np.mgrid[0 : 2 * SIDE, 0 : 2 * SIDE].astype(float)
    rough = np.random.default_rng(4).normal(0, noise_m, row.shape)
    return 300 + 0.4 * row - 0.2 * col + 5 * np.sin(col / 15) + rough


@pytest.mark.parametrize("step_m", [0.5, -3.0, 600.0])
def test_a_tile_that_stands_out_is_found(step_m: float) -> None:
    heights = ground()
    heights[SIDE:, SIDE:] += step_m
    assert edge_step(heights, BOXES).size_m == pytest.approx(abs(step_m), abs=0.1)
    assert edge_step(heights.T, [(b[1], b[0], b[3], b[2]) for b in BOXES]).size_m == pytest.approx(abs(step_m), abs=0.1)


@pytest.mark.parametrize("noise_m", [0.0, 0.05, 2.0])
def test_slopes_bends_and_noise_are_no_step(noise_m: float) -> None:
    assert edge_step(ground(noise_m), BOXES).size_m < 0.2


def test_no_data_and_short_edges_say_nothing() -> None:
    heights = ground()
    heights[SIDE:, SIDE:] += 50
    heights[SIDE - 1, SIDE + 40 :] = np.nan
    heights[SIDE + 40 :, SIDE] = np.nan  # 40 cells of either edge are left
    assert edge_step(heights, BOXES).size_m < 0.2


def folder_of(folder: Path, change) -> Path:
    """The ground in four tiles, the heights of the last changed."""
    for top, left, bottom, right in BOXES:
        part = ground()[top:bottom, left:right]
        part = change(part) if top and left else part
        place = Affine(1, 0, WEST + left, 0, -1, NORTH - top)
        write_dem(folder / f"{top}_{left}.tif", part.astype(np.float32), place, UTM17, nodata=-9999)
    return folder


def test_a_tile_in_feet_is_refused_and_another_datum_told(tmp_path: Path) -> None:
    (tmp_path / "feet").mkdir()
    (tmp_path / "datum").mkdir()
    (tmp_path / "right").mkdir()
    with pytest.raises(InputRefused, match="along an edge"):
        height_blocks(mosaic(str(folder_of(tmp_path / "feet", lambda part: part / 0.3048))), vertical_unit="m")
    datum = mosaic(str(folder_of(tmp_path / "datum", lambda part: part + 6.0)))
    for told in (height_blocks(datum, vertical_unit="m").notes, read_mosaic(datum, None, vertical_unit="m").notes):
        assert any("step by 6" in text for text in told)
    right = height_blocks(mosaic(str(folder_of(tmp_path / "right", lambda part: part))), vertical_unit="m").notes
    assert not any("step by" in text for text in right)
