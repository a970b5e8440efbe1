"""Roofs and crowns in a surface model, and cliffs, terraces and pits in a terrain model that must not be taken for them."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import ndimage

from tunnelsite.core.layers import Layer
from tunnelsite.processes import raised_ground
from tunnelsite.processes.raised_ground import PROCESS


def field(side: int = 200, fall: float = 0.03, noise_m: float = 0.05) -> np.ndarray:
    draws = np.random.default_rng(3)
    col = np.arange(side)
    return (
        100
        + fall * col
        + ndimage.gaussian_filter(draws.normal(size=(side, side)), 15) * 20
        + draws.normal(0, noise_m, (side, side))
    )


def town() -> tuple[np.ndarray, np.ndarray]:
    """(heights, what stands there): a hall of 60 x 40 m with a lower wing, houses with pitched roofs, a row of trees."""
    ground, above = field(), np.zeros((200, 200))
    above[30:90, 40:80], above[30:60, 80:110] = 9.0, 5.0
    for k in range(5):
        roof = 4.0 + 3.0 - np.abs(np.arange(10) - 4.5) * 0.6
        above[120:132, 20 + 30 * k : 30 + 30 * k] = roof
    row, col = np.mgrid[0:200, 0:200]
    for k in range(12):
        crown = 8.0 - 0.25 * ((row - 170) ** 2 + (col - 12 - 15 * k) ** 2)
        above = np.maximum(above, np.where(crown > 2, crown, 0))
    return ground + above, above


def raised(heights: np.ndarray, cell_m: float = 1.0) -> np.ndarray:
    ground = Layer(heights.astype(np.float32), "m", "ground", (cell_m, cell_m))
    return PROCESS({"ground": ground}, {}, lambda what, share: None)["raised"].values


def test_roofs_and_crowns_are_found_and_the_ground_between_is_not() -> None:
    heights, above = town()
    found = raised(heights)
    inner = ndimage.binary_erosion(above > 3, iterations=2)
    assert (found[inner] == 1).all() and inner.sum() > 3000
    assert not (found[above == 0] == 1).any() and not (found == -1).any()


@pytest.mark.parametrize("turn", [1, 2, 3])
def test_turning_and_mirroring_change_nothing(turn: int) -> None:
    heights, _ = town()
    assert np.array_equal(np.rot90(raised(heights), turn), raised(np.rot90(heights, turn)))
    assert np.array_equal(raised(heights)[:, ::-1], raised(heights[:, ::-1]))


def test_smeared_walls_of_an_interpolated_model() -> None:
    heights, above = town()
    smeared = ndimage.zoom(heights[::2, ::2], 2, order=1, grid_mode=True, mode="nearest")
    assert (raised(smeared)[ndimage.binary_erosion(above == 9, iterations=4)] == 1).all()


def _quarry(ground):
    ground[60:140, 60:140] -= 12.0
    return ground


def _cliff(ground):
    ground[:, 100:] += 25.0
    return ground


def _terraces(ground):
    return ground + 3.0 * np.floor(np.arange(200) / 25)


def _bank_by_the_end_of_the_data(ground):
    ground[120:, 40:150] += 4.0  # high ground that runs on beyond the model
    return ground


def _levee(ground):
    away = np.abs(np.arange(200) - 100)
    return ground + np.clip(4.0 - (away - 2) / 3, 0, 4)[:, None]  # 1 in 3


@pytest.mark.parametrize(
    "shape", [_quarry, _cliff, _terraces, _bank_by_the_end_of_the_data, _levee, lambda ground: ground]
)
def test_what_earth_does_is_no_roof(shape) -> None:
    assert (raised(shape(field())) == 1).mean() < 0.001


def test_steps_of_rounding_are_no_walls() -> None:
    heights, above = town()
    assert not (
        PROCESS(
            {"ground": Layer(np.round(field(fall=0.2)).astype(np.float32), "m", "", (1.0, 1.0))}, {"height_step_m": 1.0}
        )["raised"].values
    ).any()
    found = PROCESS(
        {"ground": Layer(np.round(heights).astype(np.float32), "m", "", (1.0, 1.0))}, {"height_step_m": 1.0}
    )["raised"].values
    assert (found[ndimage.binary_erosion(above == 9, iterations=2)] == 1).all()


def test_no_data_and_noise_on_small_cells() -> None:
    heights = field(noise_m=0.05)
    heights[50:60] = np.nan
    assert not raised(heights, 0.1).any()
    assert not raised(np.full((20, 20), np.nan)).any()


def test_parts_of_a_large_raster_give_what_the_whole_gives(monkeypatch: pytest.MonkeyPatch) -> None:
    town_there = town()[0]
    row = np.hstack([town_there, town_there[:, ::-1]] * 2)
    heights = np.vstack([row, row[::-1], row])[:, :790]
    asked = {"most_m2": 3500.0}
    ground = Layer(heights.astype(np.float32), "m", "ground", (1.0, 1.0))
    whole = PROCESS({"ground": ground}, asked, lambda what, share: None)["raised"].values
    monkeypatch.setattr(raised_ground, "PART_CELLS", 64)
    monkeypatch.setattr(raised_ground, "MARGIN", 1.2)
    told: list[float] = []
    parts = PROCESS({"ground": ground}, asked, lambda what, share: told.append(share))["raised"].values
    assert len(told) == 4 and (whole == 1).sum() > 20_000
    assert np.array_equal(parts, whole)
