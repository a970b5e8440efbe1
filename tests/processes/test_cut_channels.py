"""Channels by their shape, and valleys that enter over the end of the data, on ground that is known."""

from __future__ import annotations

import numpy as np
import pytest

from tunnelsite.kernels.bands import bands
from tunnelsite.kernels.water.fill import filled
from tunnelsite.kernels.water.flow import flow_direction
from tunnelsite.kernels.water.upslope import upslope_cells
from tunnelsite.processes.cut_channels import cut_channels, depth_below_banks
from tunnelsite.processes.entering_valleys import entering_valleys

R, C = np.mgrid[0:160, 0:160].astype(np.float32)
SLOPE = 0.03 * R + 0.02 * C


def trench(deep_m, half_m=4.0, length=160):
    return SLOPE - np.where((np.abs(C - 80) < half_m) & (length > R), np.float32(deep_m), 0)


def slow_depth(ground, reach):
    """The definition: the least of the highest heights of all squares that hold the cell, as far as they hold data."""
    found = np.full(ground.shape, np.nan)
    for row, col in np.argwhere(np.isfinite(ground)):
        tops = []
        for r in range(row - reach, row + reach + 1):
            for c in range(col - reach, col + reach + 1):
                part = ground[max(r - reach, 0) : max(r + reach + 1, 0), max(c - reach, 0) : max(c + reach + 1, 0)]
                tops.append(np.nanmax(part))
        found[row, col] = min(tops) - ground[row, col]
    return found


@pytest.mark.parametrize("gaps", [0.0, 0.15])
def test_depth_is_that_of_its_definition(gaps):
    random = np.random.default_rng(4)
    ground = random.normal(0, 1, (14, 17)).astype(np.float32)
    ground[random.random(ground.shape) < gaps] = np.nan
    np.testing.assert_allclose(depth_below_banks(ground, 2), slow_depth(ground, 2), atol=1e-6)


def test_a_channel_runs_on_from_one_band_of_rows_to_the_next(monkeypatch):
    random = np.random.default_rng(5)
    rough = np.tile(trench(1.5), (3, 1)) + random.normal(0, 0.2, (480, 160)).astype(np.float32)
    rough[random.random(rough.shape) < 0.02] = np.nan
    whole = cut_channels(rough, 1.0, 0.5)
    assert whole[:, 80].any() and len(list(bands((240, 80), 1))) == 2
    monkeypatch.setattr("tunnelsite.processes.cut_channels.bands", lambda shape: bands(shape, 1))
    np.testing.assert_array_equal(cut_channels(rough, 1.0, 0.5), whole)


def test_a_stream_is_found_whole_and_slopes_terraces_and_banks_are_none():
    found = cut_channels(trench(1.5), 1.0, 0.5)
    assert found[:, 78:82].all() and not found[:, :74].any() and not found[:, 87:].any()
    terraces = SLOPE + 2.0 * np.floor(C / 40)
    assert not cut_channels(terraces.astype(np.float32), 1.0, 0.5).any()
    assert not cut_channels(-terraces.astype(np.float32), 1.0, 0.5).any()
    assert not cut_channels(SLOPE + np.where(np.abs(C - 80) < 4, 2, 0).astype(np.float32), 1.0, 0.5).any()  # a bank


@pytest.mark.parametrize(
    ("ground", "cell_m", "is_one"),
    [
        (trench(0.4), 1.0, False),  # a furrow
        (trench(1.5, length=40), 1.0, False),  # a pit
        (trench(1.5, half_m=30), 1.0, False),  # wider than a channel: low ground
        (trench(1.5), 5.0, False),  # 40 m wide there
        (trench(1.5, half_m=1.5), 5.0, True),
        (trench(1.5, half_m=1.5), 6.0, False),  # such cells show none
        (trench(1.5).T, 1.0, True),
        (trench(1.5)[::-1, ::-1], 1.0, True),
    ],
)
def test_what_is_a_channel(ground, cell_m, is_one):
    assert cut_channels(np.ascontiguousarray(ground), cell_m, 0.5).any() == is_one


def test_errors_of_the_heights_are_no_channels():
    random = np.random.default_rng(7)
    rough = SLOPE + random.normal(0, 0.10, SLOPE.shape).astype(np.float32)
    assert not cut_channels(rough, 1.0, 0.5).any()


def ways(ground, cell_m=1.0):
    direction = flow_direction(filled(ground), cell_m)
    return entering_valleys(ground, direction, upslope_cells(direction)[1], cell_m)


def test_a_valley_that_enters_is_followed_down_and_one_that_leaves_is_not():
    valley = (0.004 * (160 - R) + 0.02 * np.abs(C - 80)).astype(np.float32)
    found = ways(valley)
    assert found[:, 78:83].any(axis=1).all() and found.sum() == 160  # one way, from the top to the bottom
    np.testing.assert_array_equal(ways(np.ascontiguousarray(valley[:, ::-1])), found[:, ::-1])
    low = (0.004 * (160 - R) + 0.005 * np.abs(C - 80)).astype(np.float32)  # 0.4 m below its sides
    assert not ways(low).any()
    assert not ways(SLOPE).any()


def test_a_valley_enters_over_no_data_too():
    ground = (0.01 * (160 - R) + 0.03 * np.abs(C - 80)).astype(np.float32)
    ground[:30] = np.nan
    found = ways(ground)
    assert not found[:30].any() and found[31:, 79:82].any(axis=1).all()
