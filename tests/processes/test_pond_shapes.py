"""Small water that was not levelled: found where it has a rim, never where ground runs on or falls away."""

from __future__ import annotations

import numpy as np
import pytest

from tunnelsite.kernels.blocks import block_means, block_scatter
from tunnelsite.processes.pond_shapes import pond_blocks

R, C = np.mgrid[0:160, 0:160].astype(float)
AWAY = np.hypot(R - 80, C - 80)


def found(ground, noise=0.03, seed=1):
    """Share of the cells within 10 m of the middle that are taken for water, and how many blocks are elsewhere."""
    heights = (ground + np.random.default_rng(seed).normal(0, noise, ground.shape)).astype(np.float32)
    blocks = pond_blocks(heights, 2, 1.0, (100.0, 8000.0))
    wet = np.repeat(np.repeat(blocks, 2, 0), 2, 1)
    return wet[AWAY < 10].mean(), int(wet[AWAY > 22].sum())


@pytest.mark.parametrize("noise", [0.0, 0.03])
def test_a_noisy_pond_with_banks_on_sloping_ground(noise):
    """A dug pond 32 m wide in a field of 3 %, its lower bank raised 0.6 m: water is level to the noise."""
    field = 100 + 0.03 * C
    rim = np.where((AWAY > 16) & (AWAY < 22), np.fmax(field, 103.0), field)
    pond = np.where(AWAY <= 16, 102.0, rim)
    assert found(pond, noise) == (1.0, 0)


@pytest.mark.parametrize("slope", [0.0, 0.002, 0.01, 0.03])
def test_fields_are_no_water_however_smooth(slope):
    assert found(100 + slope * C) == (0.0, 0)


def test_a_terrace_falls_away_on_one_side():
    terrace = np.clip(0.1 * (C - 80), -2.0, 100) + np.where(C > 100, 0.1 * (C - 100), 0)
    terrace = np.where((C > 60) & (C < 100), 0.0, terrace)
    assert found(terrace) == (0.0, 0)


def test_a_large_field_between_banks_is_left_to_the_user():
    """1.3 ha: larger water has to be levelled, so this is a field."""
    assert found(np.where((np.abs(R - 80) > 57) | (np.abs(C - 80) > 57), 101.0, 100.0)) == (0.0, 0)


def test_a_hollow_that_is_no_calm_level_is_none():
    assert found(100 + 0.002 * AWAY**2) == (0.0, 0)  # a bowl: its floor is round


def test_scatter_is_that_of_each_block():
    values = np.random.default_rng(4).random((9, 7)).astype(np.float32)
    values[0, 0] = np.nan
    scatter = block_scatter(values, block_means(values, 3), 3)
    assert scatter[1, 1] == pytest.approx(values[3:6, 3:6].std(), abs=1e-6)
    assert scatter[0, 0] == pytest.approx(np.nanstd(values[:3, :3].astype(float)), abs=1e-6) and scatter.shape == (3, 3)
