"""Hilltops: the topographic factor over whole grounds, against sections worked by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tests.scan.grounds import site
from tunnelsite import screen
from tunnelsite.core.house import House
from tunnelsite.core.layers import Layer
from tunnelsite.kernels.blocks import block_means, spread
from tunnelsite.processes.hilltops import PROCESS
from tunnelsite.settings.model import settings_from

RIDGE, EDGE = (1 + 1.45 * 0.5) ** 2, (1 + 0.85 * 0.5) ** 2


def factor(ground, cell=1.0, scale=10.0):
    layer = Layer(np.asarray(ground, np.float32), "m", "ground", (cell, cell))
    return PROCESS({"ground": layer}, {"scale_m": scale})["topographic_factor"].values.astype(float)


def over(shape, height):
    """Ground along `shape` columns of 1 m by a function of the distance from the middle."""
    return np.tile(100 + height(np.arange(shape[1]) - shape[1] // 2), (shape[0], 1))


def bump(half_m, tall_m):
    """A ridge that falls by half of its height within `half_m` and to nothing within twice that."""
    return lambda x: tall_m / 2 * (1 + np.cos(np.clip(x / (2 * half_m), -1, 1) * math.pi))


def test_a_steep_ridge_has_the_greatest_factor_and_the_flat_none():
    """16 m high, 25 m from crest to half: H/Lh 0.64 counts as 0.5, Kzt 2.98 at the crest (ASCE 7-16, figure 26.8-1)."""
    found = factor(over((200, 301), bump(25, 16)))
    assert found[100, 145:156].max() == pytest.approx(RIDGE, rel=0.02)
    assert (found[:, :80] == 1).all() and (found[:, 221:] == 1).all()


@pytest.mark.parametrize("tall", [10.0, 30.0])
def test_below_a_steepness_of_a_fifth_nothing_counts(tall):
    """H/Lh 0.17 on a smooth ridge (its shoulder, taken for a crest, would seem steeper than 0.2), a fifth more does count."""
    assert (factor(over((60, 1201), bump(tall / 0.17, tall))) == 1).all()
    assert factor(over((60, 1201), bump(tall / 0.24, tall))).max() > 1.5


def test_a_slope_that_goes_on_is_no_hill_however_steep():
    assert (factor(over((200, 200), lambda x: 0.15 * x)) == 1).all()


def test_low_banks_do_not_count():
    """4.5 m stay under the 15 ft of ASCE 7."""
    assert (factor(over((60, 301), bump(12, 4.5))) == 1).all()
    assert factor(over((60, 301), bump(12, 5.5))).max() > 1.5


@pytest.mark.parametrize("turn", [0, 1, 2, 3])
def test_the_edge_of_a_plateau_that_goes_on_rising_is_windy_behind_it_and_not_before(turn):
    """Ground rising 12 m over 40 m, then by 1 in 1000: an escarpment of H/Lh over 0.5 from its low side."""
    ground = over((400, 401), lambda x: np.clip(0.3 * x, -6, 6) + 1e-3 * np.fmax(x, 0))
    found = np.rot90(factor(np.rot90(ground, turn)), -turn)
    assert found[200, 220:226].max() == pytest.approx(EDGE, rel=0.07)
    assert (found[:, :180] == 1).all() and found[200, 230] > 1.3 and found[200, 340] == 1


def test_half_a_plateau_with_a_round_shoulder_keeps_its_own_steepness():
    """A Gaussian shoulder of H/Lh 0.17 before level ground: none, though its steepest part is steeper than 0.2."""
    tall, half = 20.0, 20.0 / 0.17
    width = half / math.sqrt(2 * math.log(2))
    assert (factor(over((60, 1401), lambda x: tall * np.exp(-0.5 * (np.fmin(x, 0) / width) ** 2))) == 1).all()


def test_what_is_unknown_stays_unknown():
    ground = over((60, 301), bump(25, 16))
    ground[30, 150] = np.nan
    found = factor(ground)
    assert np.isnan(found[30, 150]) and np.isnan(found).sum() == 1


def test_a_screening_judges_and_flags_it():
    ground = over((200, 301), bump(25, 16))
    free = {name: {"limit": "none"} for name in ("pitch", "deepest_cut", "earthwork")}
    settings = settings_from({"halo": "30m", "crop_months": "06-10:06-20", "kind": "container", "azimuths": 8, "top": 40,
                              "apart": "0m", "rubric": free})  # fmt: skip
    result = screen(site(ground), House(6.0, 12.0, kind="container"), settings=settings)
    scan = result.scans[0]
    marks = next(judge.rubric for judge in result.judges if judge.id == "hilltop").marks(scan.measures["hilltop"])
    col = scan.index % scan.frame.grid.cols
    assert marks[np.abs(col - 150) < 4].max() < 0.1 and (marks[np.abs(col - 150) > 90] == 1).all()
    for row in result.rows:
        assert ("have wind loads confirmed" in row["flags"]) == (row["topographic_factor"] >= 1.3)


def test_blocks_and_back():
    rng = np.random.default_rng(1)
    values = rng.random((23, 31)).astype(np.float32)
    values[:6, 5:10] = np.nan
    coarse = block_means(values, 5)
    assert coarse.shape == (5, 7) and np.isnan(coarse[0, 1]) and np.isnan(coarse).sum() == 1
    assert coarse[2, 3] == pytest.approx(values[10:15, 15:20].mean()) and coarse[4, 6] == pytest.approx(
        values[20:, 30:].mean()
    )
    r, c = np.mgrid[0:40, 0:60].astype(np.float32)
    plane = 3 + 0.5 * r - 0.25 * c
    inner = spread(block_means(plane, 4), 4, plane)[2:-2, 2:-2]
    np.testing.assert_allclose(inner, plane[2:-2, 2:-2], atol=1e-4)
    back = spread(coarse, 5, values)
    assert np.array_equal(np.isnan(back), np.isnan(values))
